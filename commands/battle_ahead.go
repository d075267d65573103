package commands

import (
	"errors"
	"fmt"
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
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
		return f.aheadHelp()
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
	id := "battle.ahead.sealed"
	if n == 1 {
		id = "battle.ahead.sealed_one"
	}
	p := chat.Post{To: chat.Destination{Only: f.ask.msg.Person}, Entry: last, Lines: []chat.Line{
		f.say(id, "n", n, "first", number(last-int64(n)+1), "last", number(last), "other", f.player(battle.Other(f.side()))),
		f.elseAhead()}, Choices: choices(chat.Choice{Label: "See them", Command: "/battle ahead", Who: []chat.Person{f.ask.msg.Person}})}
	return told{posts: []chat.Post{p}}
}

// aheadHelp says what can be settled, and to a player what they have sealed.
func (f field) aheadHelp() (*answer, error) {
	p := f.ask.post(f.say("battle.ahead.head"))
	if f.counters() {
		p.Lines = append(p.Lines, f.say("battle.ahead.counter"))
	}
	if f.rerolls() {
		p.Lines = append(p.Lines, f.say("battle.ahead.reroll"))
	}
	p.Lines = append(p.Lines, f.say("battle.ahead.falls"))
	p.To.Only = f.ask.msg.Person
	side := f.side()
	if side == battle.Nobody {
		return only(p)
	}
	if len(f.Ahead[side]) == 0 {
		p.Lines = append(p.Lines, f.say("battle.ahead.none"))
		return only(p)
	}
	own, err := f.ownOrders(side)
	p.Lines = append(append(p.Lines, f.say("battle.ahead.have")), own...)
	return &answer{posts: []chat.Post{p}}, err
}

// counters tells whether anybody counters in this game.
func (f field) counters() bool { return f.Pack.Does(string(battle.Cast)) != "" }

// rerolls tells whether a player has dice rolled again in this game.
func (f field) rerolls() bool { return f.Pack.RerollsEachTurn > 0 && f.Pack.Standing.Reroll != "never" }

// elseAhead says what happens where nothing was settled.
func (f field) elseAhead() chat.Line {
	var usual []reason.Reason
	if f.counters() {
		usual = append(usual, reason.New("battle.ahead.usual.counter"))
	}
	if f.rerolls() {
		usual = append(usual, reason.New("battle.ahead.usual.reroll"))
	}
	return f.say("battle.ahead.else", "usual", append(usual, reason.New("battle.ahead.usual.falls")))
}

// ownOrders lists a player's sealed orders, for that player alone.
func (f field) ownOrders(side int) ([]chat.Line, error) {
	var out []chat.Line
	for _, seq := range f.Ahead[side] {
		list, err := f.ask.desk.spoken(f.ask.ctx, f.view, seq)
		if err != nil && !errors.Is(err, storage.ErrNone) {
			return nil, err
		}
		for _, w := range list {
			if !strings.HasPrefix(w.Name, wordAhead) {
				continue
			}
			o, err := battle.ParseStanding([]byte(w.Text))
			if err != nil {
				return nil, err
			}
			out = append(out, f.say("battle.ahead.one", "entry", number(int64(seq)), "words", f.standing(o)))
		}
	}
	return out, nil
}

// standing is a standing order as it would be typed.
func (f field) standing(o battle.Standing) chat.Line {
	say := func(id string, pairs ...any) chat.Line { return f.say("battle.ahead.order."+id, pairs...) }
	switch c, r, falls := o.Counter, o.Reroll, o.Falls; {
	case c != nil && c.Never:
		return say("counter_never")
	case c != nil && c.AtLeast > 0:
		return say("counter_from", "n", c.AtLeast)
	case c != nil:
		return say("counter_any")
	case r != nil && r.Never:
		return say("reroll_never")
	case r != nil:
		need := chat.Line(nil)
		if r.Need > 0 {
			need = say("reroll_need", "n", r.Need)
		}
		if r.Unit != "" {
			return say("reroll_unit", "unit", f.unit(r.Unit), "need", need)
		}
		return say("reroll", "need", need)
	case falls != nil && falls.Part != "":
		return say("falls_keep", "unit", f.partCalled(falls.Part))
	case falls != nil && falls.Keep != "":
		return say("falls_keep", "unit", f.unit(falls.Keep))
	}
	return say("falls")
}

// partCalled is what models unlike the rest of their unit are called.
func (f field) partCalled(id string) reason.Name {
	for i := range f.Pack.Units {
		for _, other := range f.Pack.Units[i].Others {
			if other.ID == id {
				return reason.Name(other.Title)
			}
		}
	}
	return reason.Name(id)
}
