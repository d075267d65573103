package commands

import (
	"errors"
	"regexp"
	"strconv"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/muster"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

func forceCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "force add", Mode: args.Direct, Files: true, Help: "your army, from a file or as you say it",
			Example: "/force add Weir Militia, 500 points; 10 Pikes; 10 Crossbows; Marram",
			Params:  []args.Param{{Name: "list", Kind: args.Force, Help: "a name and points, then a unit a line"}}},
			plan: planForceAdd},
		{Spec: args.Spec{Name: "force change", Mode: args.Direct, Help: "change your draft, or a saved force: a size, a unit less",
			Example: "/force change 10 Pikes",
			Params:  []args.Param{{Name: "change", Kind: args.Force, Optional: true, Help: "10 Pikes, no Mortar, or line 3: Crossbows"}}},
			plan: planForceChange},
		{Spec: args.Spec{Name: "force show", Mode: args.Direct, Help: "your forces, or one, with faults", Example: "/force show",
			Params: []args.Param{{Name: "name", Kind: args.Saved, Optional: true, Help: "one of your forces"}}},
			plan: planForceShow},
		{Spec: args.Spec{Name: "force drop", Mode: args.Direct, Help: "delete a saved force", Example: "/force drop Weir Militia",
			Params: []args.Param{{Name: "name", Kind: args.Words, Help: "its whole name, or draft"}}},
			plan: planForceDrop},
	}
}

// planForceAdd reads a force from a file or as said. Without a fault it is
// saved; with faults it is kept as the one draft of its owner.
func planForceAdd(a *ask) (*answer, error) {
	if len(a.msg.Files) > 1 {
		return nil, refuse("/force add", "force.refuse.files", "n", len(a.msg.Files))
	}
	said := strings.TrimSpace(a.value("list"))
	switch {
	case len(a.msg.Files) > 0:
	case said == "":
		return nil, refuse(muster.Example, "force.refuse.empty")
	case spokenFile.MatchString(said):
		return nil, refuse("/force add (file "+said+")", "force.refuse.path", "name", reason.Name(said))
	}
	var p *rules.Pack
	var d muster.Draft
	var err error
	if len(a.msg.Files) == 1 {
		p, d, err = a.readForceFile(a.msg.Files[0])
	} else {
		p, d, err = a.readSaid(strings.ReplaceAll(a.value("list"), ";", "\n"))
	}
	var faults *source.Faults
	if errors.As(err, &faults) {
		return only(a.fileFaults(faults))
	}
	if err != nil {
		return nil, err
	}
	return a.judged(p, d)
}

// spokenFile is the name of a file, typed where a force was expected.
var spokenFile = regexp.MustCompile(`(?i)^\S{1,200}\.(toml|txt|json|csv|pdf|docx?|xlsx?)$`)

// readForceFile reads a TOML file, or a text file written as one says it. A TOML
// file says of which game it is.
func (a *ask) readForceFile(f chat.File) (*rules.Pack, muster.Draft, error) {
	if strings.HasSuffix(strings.ToLower(f.Name), ".txt") {
		return a.readSaid(string(f.Bytes))
	}
	p, err := a.desk.pack(muster.PackOf(f.Bytes))
	if err != nil {
		if p, err = a.desk.pack(""); err != nil {
			return nil, muster.Draft{}, err
		}
	}
	d, err := muster.ReadFile(p, cleanName(f.Name), f.Bytes)
	if p.ID != firstGame {
		d.Pack = p.ID
	}
	return p, d, err
}

// planForceChange changes the draft, or where there is none the saved force that
// is named, line by line, all of it or nothing.
func planForceChange(a *ask) (*answer, error) {
	lines := a.values.Lines("change")
	draft, err := a.forceDraft()
	if err == nil && draft == nil {
		draft, lines, err = a.savedToChange(lines)
	}
	if err != nil {
		return nil, err
	}
	p, err := a.desk.pack(draft.Pack)
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 {
		return only(a.forceText(p, *draft))
	}
	d := *draft
	for _, line := range lines {
		if d, err = d.Change(p, line); err != nil {
			return nil, err
		}
	}
	return a.judged(p, d)
}

// savedToChange is the saved force that the first line names, with the lines that
// change it. It must be named: a choice that is still shown below an old draft
// would change a force that was saved since.
func (a *ask) savedToChange(lines []string) (*muster.Draft, []string, error) {
	all, err := a.forces(a.msg.Person)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range all {
		if len(lines) > 0 && args.Key(lines[0]) == args.Key(f.Name) {
			return draftOf(f), lines[1:], nil
		}
	}
	if len(all) == 0 {
		return nil, nil, refuse("/force add", "force.refuse.nochange")
	}
	first := all[0]
	p, err := a.desk.pack(first.Pack)
	if err != nil {
		return nil, nil, err
	}
	change := strconv.Itoa(first.Units[0].Size) + " " + p.Called(first.Units[0].Kind)
	return nil, nil, refuse("/force change "+first.Name+"; "+change, "force.refuse.whichchange", "names", forceTitles(all))
}

// draftOf is a saved force as a draft of its game.
func draftOf(f muster.Force) *muster.Draft {
	d := f.Draft()
	if f.Pack != firstGame {
		d.Pack = f.Pack
	}
	return &d
}

// judged saves a draft without faults, keeps one with, and says which.
func (a *ask) judged(p *rules.Pack, d muster.Draft) (*answer, error) {
	j := d.Judge(p)
	if len(j.Faults) > 0 {
		if err := a.keepDraft(&d); err != nil {
			return nil, err
		}
		return only(a.draftPost(j, "force.draft"))
	}
	replaced, err := a.saveForce(j.Force)
	if err != nil {
		return nil, err
	}
	post := a.post(a.totals(j, "force.saved", "force.unlimited"))
	if replaced {
		post.Lines = append(post.Lines, a.say("force.replaces"))
	}
	return only(post)
}

// planForceShow lists the forces and the draft, or one force with its units.
func planForceShow(a *ask) (*answer, error) {
	if name := a.value("name"); name != "" {
		if args.Key(name) == "draft" {
			return a.showDraft()
		}
		f, err := a.force(a.msg.Person, name)
		if err != nil {
			return nil, err
		}
		p, err := a.desk.pack(f.Pack)
		if err != nil {
			return nil, err
		}
		return only(a.forcePost(p, f))
	}
	all, err := a.forces(a.msg.Person)
	if err != nil {
		return nil, err
	}
	draft, err := a.forceDraft()
	if err != nil {
		return nil, err
	}
	var posts []chat.Post
	switch {
	case len(all) > 0:
		post := a.post(a.say("force.list", "n", len(all)))
		for _, f := range all {
			if p, err := a.desk.pack(f.Pack); err == nil { // a game that is no longer here keeps its forces
				post.Lines = append(post.Lines, a.forceLine(p, f))
			}
		}
		posts = append(posts, post)
	case draft == nil:
		posts = append(posts, a.post(a.say("force.none"), a.say("desk.example", "example", chat.Span{Kind: chat.Command, Text: muster.Example})))
	}
	if draft == nil {
		return only(posts...)
	}
	p, err := a.desk.pack(draft.Pack)
	if err != nil {
		return nil, err
	}
	return only(append(posts, a.draftPost(draft.Judge(p), "force.drafted"))...)
}

func (a *ask) showDraft() (*answer, error) {
	draft, err := a.forceDraft()
	if err != nil {
		return nil, err
	}
	if draft == nil {
		return nil, refuse("/force add", "force.refuse.nodraft")
	}
	p, err := a.desk.pack(draft.Pack)
	if err != nil {
		return nil, err
	}
	return only(a.draftPost(draft.Judge(p), "force.drafted"))
}

// planForceDrop deletes a force named exactly, without asking; one that is only
// meant is offered by its name. Its parameter is plain words, because a Saved
// one comes completed and would hide the difference.
func planForceDrop(a *ask) (*answer, error) {
	name := a.value("name")
	if args.Key(name) == "draft" {
		if err := a.keepDraft(nil); err != nil {
			return nil, err
		}
		return only(a.post(a.say("force.undrafted")))
	}
	f, err := a.force(a.msg.Person, name)
	if err != nil {
		return nil, err
	}
	if args.Key(f.Name) != args.Key(name) {
		post := a.post(a.say("force.refuse.nosuch", "name", said(name), "names", said(f.Name)))
		post.Error = "force.refuse.nosuch"
		post.Choices = choices(chat.Choice{Label: flat(a.say("force.pick.forget", "name", said(f.Name))),
			Command: "/force drop " + f.Name, Who: []chat.Person{a.msg.Person}})
		return only(post)
	}
	if err := a.dropForce(f); err != nil {
		return nil, err
	}
	return only(a.post(a.say("force.dropped", "name", said(f.Name))))
}
