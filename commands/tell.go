package commands

import (
	"strings"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
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
		if f, ok, err := a.battleIn(d.after); err == nil && ok && f.Stage == battle.Ended {
			p.Lines = append(p.Lines, a.say("battle.result.kept"))
			p.Choices = choices(f.choice("Report", "/battle report", nil))
		}
		return told{posts: []chat.Post{p}}, nil
	}})
}
