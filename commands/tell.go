package commands

import (
	"sort"
	"strings"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// MaxTold is the most characters of a line for the story.
const MaxTold = 400

func tellCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "due", Mode: args.Private, Help: "what waits for me, in all my games", Example: "/due"}, plan: planDue},
		{Spec: args.Spec{Name: "tell", Help: "a line for the story of this game", Example: "/tell We never liked that bridge anyway.",
			Params: []args.Param{{Name: "words", Kind: args.Words, Help: "your words"}}}, plan: planTell},
	}
}

// planTell keeps a player's own words beside the facts. The ledger holds only
// what stands for them, so that they can be hidden while it still verifies.
func planTell(a *ask) (*answer, error) {
	words := strings.Join(strings.Fields(a.value("words")), " ")
	if n := utf8.RuneCountInString(words); n > MaxTold {
		return nil, refuse("/tell We never liked that bridge anyway.", "tell.refuse.long", "count", n, "limit", MaxTold)
	}
	hash, err := a.salt("tell", words)
	if err != nil {
		return nil, err
	}
	return act1(act{args: map[string]any{"said": hash}, words: []string{"tell"}, tell: func(d *done) (told, error) {
		p := a.post(a.say("tell.kept", "who", a.desk.who(a.msg.Person), "words", said(words), "entry", number(int64(d.rec.Seq))))
		p.Entry = int64(d.rec.Seq)
		return told{posts: []chat.Post{p}}, nil
	}})
}

// planDue lists what waits for the asker, over all their games: what takes one
// tap first, then by deadline.
func planDue(a *ask) (*answer, error) {
	var list []due
	looked := map[chat.Place]bool{} // a battle and a campaign may lie in one place
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		if looked[g.Place] {
			continue
		}
		looked[g.Place] = true
		v, err := a.there(g.Place)
		if err != nil {
			return nil, err
		}
		for _, look := range waiting {
			list = append(list, look(a, v, a.msg.Person)...)
		}
	}
	if len(list) == 0 {
		return only(a.post(a.say("due.nothing")))
	}
	sort.SliceStable(list, func(i, j int) bool {
		if list[i].work != list[j].work {
			return list[i].work < list[j].work
		}
		if list[i].till.IsZero() != list[j].till.IsZero() {
			return list[j].till.IsZero()
		}
		return list[i].till.Before(list[j].till)
	})
	taps := 0
	for _, d := range list {
		if d.work == 1 {
			taps++
		}
	}
	head := a.say("due.head", "n", len(list))
	if taps > 0 {
		head = a.say("due.taps", "n", len(list), "taps", taps)
	}
	p := a.post(head)
	for i, d := range list {
		line := a.say("due.line", "n", i+1, "what", d.line)
		if !d.till.IsZero() {
			line = a.say("due.till", "n", i+1, "what", d.line, "till", a.desk.when(d.till, a.msg.Person))
		}
		p.Lines = append(p.Lines, line)
	}
	return only(p)
}
