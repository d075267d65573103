package commands

import (
	"slices"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

func startCommands() []command {
	return []command{{
		Spec: args.Spec{Name: "help", Mode: args.Private, Help: "first steps, or help on one thing", Example: "/help battle",
			Params: []args.Param{{Name: "word", Kind: args.Words, Optional: true, Help: "a command or a thing"}}},
		plan: planHelp,
	}}
}

// greeting is the first post in a place: one post, one question, then silence
// until spoken to.
func (a *ask) greeting() chat.Post {
	p := a.post(a.say("start.hello"), a.say("start.try"), a.say("start.reads"), a.say("start.question"))
	p.Choices = choices(
		chat.Choice{Label: "Just dice", Command: "/help dice"},
		chat.Choice{Label: "A battle", Command: "/help a battle"},
		chat.Choice{Label: "Campaign", Command: "/help a campaign"})
	return p
}

// topics are first steps by what people ask for, not by command.
var topics = []struct {
	words []string
	lines []string
}{
	{[]string{"dice", "just dice", "rolling"}, []string{"start.dice.1", "start.dice.2", "start.dice.3", "start.dice.4"}},
	{[]string{"a battle", "first battle"}, []string{"start.battle.1", "start.battle.2", "start.battle.3", "start.battle.4", "start.battle.5"}},
	{[]string{"a campaign", "campaign or ladder"}, []string{"start.campaign.1", "start.campaign.2", "start.campaign.3", "start.campaign.4"}},
	{[]string{"trust", "proofs", "sealed dice"}, []string{"start.trust.1", "start.trust.2", "start.trust.3", "start.trust.4"}},
}

func planHelp(a *ask) (*answer, error) {
	word := args.Key(a.value("word"))
	if word == "" {
		p := a.greeting()
		p.To = a.answerTo()
		p.Lines = append(p.Lines, a.say("start.commands"))
		p.Lines = append(p.Lines, a.commandList()...)
		return only(p)
	}
	for _, t := range topics {
		for _, w := range t.words {
			if w == word {
				p := a.post()
				for _, id := range t.lines {
					p.Lines = append(p.Lines, a.say(id))
				}
				return only(p)
			}
		}
	}
	if verb := a.verbHelp(word); verb != nil {
		return only(a.post(verb...))
	}
	if post := a.rulebook(word); post != nil {
		return only(*post)
	}
	found := args.Find(a.desk.specs, word)
	if len(found) == 0 {
		return nil, refuse("/help battle", "start.refuse.word", "word", said(a.value("word")))
	}
	p := a.post()
	for _, s := range found {
		p.Lines = append(p.Lines, a.topic(args.Help(s), len(found) == 1)...)
	}
	return only(p)
}

// verbHelps are the lines of a sheet, by what people call them.
var verbHelps = []struct {
	words []string
	id    string
}{
	{[]string{"move"}, "start.verb.move"}, {[]string{"run"}, "start.verb.run"}, {[]string{"fall back", "fallback"}, "start.verb.back"},
	{[]string{"hold"}, "start.verb.hold"}, {[]string{"cast"}, "start.verb.cast"}, {[]string{"shoot", "shooting"}, "start.verb.shoot"},
	{[]string{"split", "split fire"}, "start.verb.split"}, {[]string{"charge"}, "start.verb.charge"}, {[]string{"fight", "melee"}, "start.verb.fight"},
	{[]string{"done", "end turn"}, "start.verb.done"}, {[]string{"else"}, "start.verb.else"}, {[]string{"if"}, "start.verb.if"},
	{[]string{"cover", "in cover", "distance", "sight"}, "start.verb.facts"}, {[]string{"sheet", "orders"}, "start.verb.sheet"},
}

// verbHelp is the help on a line of a sheet, nil for another word.
func (a *ask) verbHelp(word string) []chat.Line {
	for _, v := range verbHelps {
		if slices.Contains(v.words, word) {
			return []chat.Line{a.say(v.id), a.say(v.id + "_as")}
		}
	}
	return nil
}

// commandList names every command once: the groups with what they go on with.
func (a *ask) commandList() []chat.Line {
	var alone []string
	var groups []string
	subs := map[string][]string{}
	for _, s := range a.desk.specs {
		head, sub, ok := strings.Cut(s.Name, " ")
		if !ok {
			alone = append(alone, "/"+s.Name)
			continue
		}
		if subs[head] == nil {
			groups = append(groups, head)
		}
		subs[head] = append(subs[head], sub)
	}
	lines := []chat.Line{{{Kind: chat.Plain, Text: strings.Join(alone, " ")}}}
	for _, g := range groups {
		lines = append(lines, chat.Line{{Kind: chat.Plain, Text: "/" + g + ": " + strings.Join(subs[g], ", ")}})
	}
	return lines
}

// topic is the help of one command: usage and sense, and if it is the only one
// asked for, its parameters and an example.
func (a *ask) topic(t args.Topic, whole bool) []chat.Line {
	lines := []chat.Line{a.say("start.usage", "usage", chat.Span{Kind: chat.Command, Text: t.Usage}, "help", t.Help)}
	if !whole {
		return lines
	}
	for _, p := range t.Params {
		id := "start.param"
		if p.Optional {
			id = "start.optional"
		}
		lines = append(lines, a.say(id, "name", p.Name, "help", p.Help))
	}
	if t.File {
		lines = append(lines, a.say("start.file"))
	}
	if t.Alone {
		lines = append(lines, a.say("start.alone"))
	}
	return append(lines, a.say("desk.example", "example", chat.Span{Kind: chat.Command, Text: t.Example}))
}

// resolver knows what has a name where the message was said.
func (a *ask) resolver() args.Names { return &names{a} }

type names struct{ a *ask }

// Bare tells whether a command needs no slash: said in private, or by a choice.
func (n *names) Bare() bool { return n.a.msg.Private || n.a.msg.Tap != nil }

// Of lists the names of a kind.
func (n *names) Of(k args.Kind) []string {
	switch k {
	case args.Person:
		return n.a.desk.peopleNames(n.a.msg.Community)
	}
	for _, f := range nameLists {
		if found := f(n.a, k); found != nil {
			return found
		}
	}
	return nil
}
