package commands

import (
	"fmt"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
)

// wordAhead begins the name under which a standing order lies sealed beside its
// entry; several of one message are numbered.
const wordAhead = "ahead"

// planAhead seals standing orders, each by itself, so that each is opened alone.
func planAhead(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	text := a.value("orders")
	if text == "" {
		return only(f.aheadHelp())
	}
	side := f.side()
	if _, err := f.tried(battle.Ahead{Battle: f.seq, Said: fmt.Sprintf("%064d", 0)}); err != nil {
		return nil, f.named(err)
	}
	orders, err := battle.ParseAhead(f.State, side, text)
	if err != nil {
		return nil, f.named(err)
	}
	if have := len(f.Ahead[side]); have+len(orders) > battle.MaxAhead {
		return nil, refuse("/battle ahead", "battle.refuse.ahead", "most", battle.MaxAhead)
	}
	out := &answer{}
	for i, o := range orders {
		value, err := o.Marshal()
		if err != nil {
			return nil, err
		}
		name := fmt.Sprintf("%s%d", wordAhead, i+1)
		hash, err := a.salt(name, string(value))
		if err != nil {
			return nil, err
		}
		act, err := f.act(battle.Ahead{Battle: f.seq, Said: hash})
		if err != nil {
			return nil, err
		}
		act.words = []string{name}
		if i == len(orders)-1 {
			act.tell = func(d *done) (told, error) { return f.tellAhead(d, len(orders)), nil }
		}
		out.acts = append(out.acts, act)
	}
	return out, nil
}

// tellAhead confirms to the one alone. What was sealed is not repeated in a
// place where the other reads.
func (f field) tellAhead(d *done, n int) told {
	last := int64(d.rec.Seq)
	p := chat.Post{To: chat.Destination{Only: f.ask.msg.Person}, Entry: last, Lines: []chat.Line{
		f.say("battle.ahead.sealed", "n", n, "first", number(last-int64(n)+1), "last", number(last), "other", f.player(battle.Other(f.side()))),
		f.say("battle.ahead.else")}}
	return told{posts: []chat.Post{p}}
}

// aheadHelp says what can be settled.
func (f field) aheadHelp() chat.Post {
	p := f.ask.post(f.say("battle.ahead.head"), f.say("battle.ahead.counter"), f.say("battle.ahead.reroll"), f.say("battle.ahead.falls"))
	if side := f.side(); side != battle.Nobody {
		p.Lines = append(p.Lines, f.say("battle.ahead.have", "n", len(f.Ahead[side])))
	}
	p.To.Only = f.ask.msg.Person
	return p
}
