package commands

import (
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
)

// planUnit shows how a unit stands and what it may do now, with the reason for
// what it may not.
func planUnit(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	u, err := f.find(a.value("name"))
	if err != nil {
		return nil, err
	}
	p := a.post(f.say("battle.unit.head", "unit", reason.Name(f.Name(u.ID)), "player", f.player(u.Side), "left", u.Left, "size", u.Size))
	p.To.Only = a.msg.Person
	if kind := f.Pack.Unit(u.Kind); kind != nil {
		p.Lines = append(p.Lines, a.here.speaker().Reason(f.Pack.UnitLine(kind)))
	}
	p.Lines = append(p.Lines, f.unitLines(u)...)
	if !u.Stands() || f.Stage != battle.Playing {
		return only(p)
	}
	if u.Side == f.Side {
		p.Lines = append(p.Lines, f.say("battle.unit.now", "may", f.free(u)))
	} else {
		p.Lines = append(p.Lines, f.say("battle.unit.next", "player", f.player(u.Side), "may", f.free(u)))
	}
	for _, o := range f.Options(u.ID) {
		if o.Why != nil || len(o.At) > 0 {
			p.Lines = append(p.Lines, f.optionLine(o))
		}
	}
	return only(p)
}

// free lists the orders that a unit may be given and that need no target.
func (f field) free(u battle.Unit) []string {
	var out []string
	for _, o := range f.Options(u.ID) {
		if o.Why == nil && len(o.At) == 0 {
			out = append(out, string(o.Order))
		}
	}
	if len(out) == 0 {
		out = []string{string(battle.Hold)}
	}
	return out
}

// find settles which unit a name means: one's own before the other's.
func (f field) find(name string) (battle.Unit, error) {
	key := args.Key(name)
	side := max(f.side(), 0)
	for _, s := range []int{side, battle.Other(side)} {
		for _, u := range f.Units {
			if u.Side == s && (args.Key(f.Short(u.ID)) == key || args.Key(f.Name(u.ID)) == key || args.Key(f.Pack.Called(u.Kind)) == key) {
				return u, nil
			}
		}
	}
	var names []reason.Name
	for _, u := range f.Units {
		names = append(names, f.unit(u.ID))
	}
	return battle.Unit{}, refuse("/unit "+f.Short(f.Units[0].ID), "battle.refuse.no_unit", "said", reason.Name(name), "units", names)
}

// unitLines say what has come to a unit.
func (f field) unitLines(u battle.Unit) []chat.Line {
	var out []chat.Line
	say := func(when bool, id string, pairs ...any) {
		if when {
			out = append(out, f.say(id, pairs...))
		}
	}
	say(u.Gone != "", "battle.unit.gone_"+u.Gone)
	if wounds := f.Pack.WoundsCalled(); wounds != "wounds" {
		say(u.Hurt > 0, "battle.unit.crossed", "n", u.Hurt, "name", reason.Name(wounds))
	} else {
		say(u.Hurt > 0, "battle.unit.hurt", "n", u.Hurt)
	}
	for _, loss := range u.Lost {
		say(true, "battle.unit.weaker", "n", loss.By, "name", reason.Name(f.called(loss.Characteristic)))
	}
	say(u.Fell+u.Fled > 0, "battle.unit.lost", "fell", u.Fell, "fled", u.Fled)
	say(u.InMelee(), "battle.unit.melee", "enemies", f.unitNamesOf(u.With))
	say(u.Joined != "", "battle.unit.joined", "host", f.unit(u.Joined))
	say(u.At != "", "battle.unit.at", "at", reason.Name(f.Objective(u.At)))
	for _, id := range u.Statuses {
		if s := f.Pack.Status(id); s != nil {
			out = append(out, f.say("battle.unit.status", "status", reason.Name(s.Words)))
		}
	}
	say(u.Grade != "", "battle.unit.grade", "grade", u.Grade)
	return append(out, f.career(u)...)
}

// career is what a unit has come to in the campaign whose region is at stake.
func (f field) career(u battle.Unit) []chat.Line {
	if f.Terms.Campaign == "" {
		return nil
	}
	c, err := f.ask.campaignOf(f.Terms)
	if err != nil {
		return nil
	}
	seat := c.view.seats[f.person(u.Side)]
	past, fought := c.Unit(seat, u.Key)
	if !fought {
		return nil
	}
	return []chat.Line{f.say("battle.unit.career", "title", c.title(), "battles", past.Battles, "n", past.Experience, "grade", c.Grade(seat, u.Key))}
}

func (f field) unitNamesOf(ids []string) []reason.Name {
	var out []reason.Name
	for _, id := range ids {
		out = append(out, f.unit(id))
	}
	return out
}

// optionLine says that a unit may do something, and at whom; or why not.
func (f field) optionLine(o battle.Option) chat.Line {
	what := any(string(o.Order))
	if p := f.Pack.Power(o.Power); p != nil {
		what = f.say("battle.unit.cast", "power", reason.Name(p.Title))
	}
	switch {
	case o.Why != nil:
		return f.say("battle.unit.no", "what", what, "why", f.peopled(o.Why.Reason))
	}
	return f.say("battle.unit.at_whom", "what", what, "targets", f.unitNamesOf(o.At))
}

// mayLine is what a unit may do, in one line.
func (f field) mayLine(u battle.Unit) chat.Line {
	var may []string
	for _, o := range f.Options(u.ID) {
		word := string(o.Order)
		if p := f.Pack.Power(o.Power); p != nil {
			word = "cast " + p.Title
		}
		if o.Why == nil {
			may = append(may, word)
		}
	}
	if len(may) == 0 {
		return f.say("battle.sheet.nothing", "unit", f.unit(u.ID), "left", u.Left)
	}
	return f.say("battle.sheet.unit", "unit", f.unit(u.ID), "left", u.Left, "may", may)
}
