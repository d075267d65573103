package commands

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/muster"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

// rowWidth is how wide the table of a force is: phones wrap near 40.
const rowWidth = 31

// draftPost shows a draft with its faults: a headline, the names in question,
// the table, and the changes that would mend it as choices.
func (a *ask) draftPost(j muster.Judgement, headline string) chat.Post {
	p := a.post(a.say(headline, "n", len(j.Faults), "faults", a.shortFaults(j)))
	for _, f := range j.Faults {
		if f.Kind != "points" {
			p.Lines = append(p.Lines, a.here.speaker().Reason(f.Reason))
		}
	}
	p.Lines = append(p.Lines, a.table(j)...)
	p.Lines = append(p.Lines, a.fits(j)...)
	p.Choices = a.fixChoices(j)
	return p
}

// shortFaults counts the faults by kind: "one name, 18 points too many".
func (a *ask) shortFaults(j muster.Judgement) chat.Line {
	number := map[string]int{}
	var kinds []string
	for _, f := range j.Faults {
		if number[f.Kind]++; number[f.Kind] == 1 {
			kinds = append(kinds, f.Kind)
		}
	}
	var line chat.Line
	for i, kind := range kinds {
		if i > 0 {
			line = append(line, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		id := "force.several." + kind
		if number[kind] == 1 {
			id = "force.one." + kind
		}
		line = append(line, a.say(id, "n", number[kind], "over", j.Total-j.Force.Limit)...)
	}
	return line
}

// table is the units with what they cost, and the total.
func (a *ask) table(j muster.Judgement) []chat.Line {
	var lines []chat.Line
	for _, row := range j.Rows {
		id := "force.row.each"
		switch {
		case row.Own != "":
			id = "force.row.own"
		case row.Unit.Least == row.Unit.Most:
			id = "force.row.whole"
		}
		left := a.say(id, "size", row.Size, "unit", row.Unit.Title, "each", row.Each, "own", said(row.Own))
		lines = append(lines, aligned(left, strconv.Itoa(row.Total)))
	}
	if len(j.Rows) == 0 {
		return nil
	}
	total := strconv.Itoa(j.Total)
	if j.Force.Limit > 0 {
		total = flat(a.say("force.of", "total", j.Total, "limit", j.Force.Limit))
	}
	return append(lines, aligned(a.say("force.total"), total))
}

// aligned puts words left and a number right.
func aligned(left chat.Line, right string) chat.Line {
	gap := rowWidth - utf8.RuneCountInString(flat(left)) - utf8.RuneCountInString(right)
	return append(left, chat.Span{Kind: chat.Plain, Text: strings.Repeat(" ", max(1, gap)) + right})
}

// fits names the changes that would make the force cost little enough.
func (a *ask) fits(j muster.Judgement) []chat.Line {
	var line chat.Line
	for _, fix := range j.Fixes {
		if fix.Kind == "name" {
			continue
		}
		if len(line) > 0 {
			line = append(line, chat.Span{Kind: chat.Plain, Text: ", or "})
		}
		line = append(line, a.say("force.fit."+fix.Kind, "size", fix.Size, "unit", fix.Unit.Short, "total", fix.Total)...)
	}
	switch {
	case len(line) > 0:
		return []chat.Line{a.say("force.fits", "fits", line)}
	case j.Force.Limit > 0 && j.Total > j.Force.Limit:
		return []chat.Line{a.say("force.nofit")}
	}
	return nil
}

// fixChoices offers each fix, and a change in the owner's words.
func (a *ask) fixChoices(j muster.Judgement) []chat.Choice {
	var list []chat.Choice
	for _, fix := range j.Fixes {
		label := flat(a.say("force.pick."+fix.Kind, "size", fix.Size, "unit", fix.Unit.Short))
		list = append(list, chat.Choice{Label: label, Command: "/force change " + fix.Change})
	}
	list = append(list, chat.Choice{Label: flat(a.say("force.pick.edit")), Command: "/force change", Form: flat(a.say("force.form"))})
	for i := range list {
		list[i].Who = []chat.Person{a.msg.Person}
	}
	return choices(list...)
}

// totals is a sentence about a force's points: of a limit, or without one.
func (a *ask) totals(j muster.Judgement, limited, free string) chat.Line {
	id := limited
	if j.Force.Limit == 0 {
		id = free
	}
	return a.say(id, "name", said(j.Force.Name), "total", j.Total, "limit", j.Force.Limit, "n", len(j.Rows))
}

// forceLine is one saved force in a list, judged by the rules as they are.
func (a *ask) forceLine(p *rules.Pack, f muster.Force) chat.Line {
	j := f.Draft().Judge(p)
	if len(j.Faults) > 0 {
		return a.say("force.itembad", "name", said(f.Name), "n", len(j.Faults))
	}
	return a.totals(j, "force.item", "force.itemfree")
}

// forcePost is one saved force with its units, and faults if rules changed.
func (a *ask) forcePost(p *rules.Pack, f muster.Force) chat.Post {
	j := f.Draft().Judge(p)
	army := f.Army
	if list := p.Army(f.Army); list != nil {
		army = list.Title
	}
	id := "force.head"
	if args.Key(f.Name) == args.Key(army) {
		id = "force.head_army" // once is enough
	}
	post := a.post(a.say(id, "name", said(f.Name), "army", army))
	for _, fault := range j.Faults {
		post.Lines = append(post.Lines, a.here.speaker().Reason(fault.Reason))
	}
	post.Lines = append(post.Lines, a.table(j)...)
	return post
}

// forceText is the draft as text to copy and change.
func (a *ask) forceText(p *rules.Pack, d muster.Draft) chat.Post {
	post := a.post(a.say("force.edit"), chat.Line{{Kind: chat.Command, Text: "/force add"}})
	for _, line := range strings.Split(d.Text(p), "\n") {
		post.Lines = append(post.Lines, chat.Line{said(line)})
	}
	return post
}

// fileFaults says what is wrong with a file, all of it, by line.
func (a *ask) fileFaults(f *source.Faults) chat.Post {
	post := a.post()
	for i, fault := range f.Shown() {
		what := a.here.speaker().Reason(fault.Reason)
		id := "force.line"
		switch {
		case i == 0 && fault.Line == 0:
			id = "force.unread"
		case i == 0:
			id = "force.notsaved"
		}
		post.Lines = append(post.Lines, a.say(id, "file", said(f.Name), "line", fault.Line, "what", what))
	}
	if more := len(f.All) - len(f.Shown()); more > 0 {
		post.Lines = append(post.Lines, a.say("force.more", "n", more))
	}
	post.Error = f.All[0].Reason.ID
	return post
}
