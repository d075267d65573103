package rules

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/engine/reason"
)

func (p *Pack) sequenceLines(seq *Sequence) []reason.Reason {
	var lines []reason.Reason
	if len(seq.When) > 0 {
		lines = append(lines, reason.New("page.seq.when", "if", conditionWords(seq.When)))
	}
	if seq.Reach != (Source{}) {
		lines = append(lines, reason.New("page.seq.reach", "value", p.value(seq.Reach)))
	}
	if a := seq.Number; a != nil {
		each := reason.New("page.seq.each." + slug(a.Each))
		lines = append(lines, reason.New("page.seq.attacks", "value", p.value(a.From), "each", each))
	}
	for _, id := range seq.Steps {
		if p.toldBefore(seq, id) {
			lines = append(lines, reason.New("page.step.before", "step", p.stepNamed(id)))
			continue
		}
		lines = append(lines, p.stepLines(p.Step(id))...)
	}
	if d := seq.Damage; d != nil {
		lines = append(lines, p.damageLines(d)...)
	}
	if len(seq.RollerDies) > 0 {
		lines = append(lines, reason.New("page.seq.dies", "then", p.then(seq.RollerDies)))
	}
	if len(seq.Blocked) > 0 {
		lines = append(lines, reason.New("page.seq.blocked", "then", p.then(seq.Blocked)))
	}
	return lines
}

// toldBefore tells whether a sequence before this one has the step too.
func (p *Pack) toldBefore(seq *Sequence, step string) bool {
	for i := range p.Sequences {
		if &p.Sequences[i] == seq {
			return false
		}
		if slices.Contains(p.Sequences[i].Steps, step) {
			return true
		}
	}
	return false
}

func (p *Pack) damageLines(d *Damage) []reason.Reason {
	amount := reason.New("page.value.amount", "amount", d.Plain.String())
	if d.Amount != (Source{}) {
		amount = p.value(d.Amount)
	}
	id := "page.seq.damage"
	if d.Spill {
		id = "page.seq.damage_spills"
	}
	if d.Amount == (Source{}) && d.Plain.Most() == 1 {
		id = "page.seq.damage_one"
	}
	lines := []reason.Reason{reason.New(id, "amount", amount, "name", reason.Name(p.wordsFor(d.Wounds)))}
	if d.LastSave != (Source{}) {
		lines = append(lines, reason.New("page.seq.last_save", "value", p.value(d.LastSave)))
	}
	if d.Marks != "" {
		lines = append(lines, reason.New("page.seq.marks", "name", reason.Name(p.wordsFor(d.Marks)), "table", p.tableNamed(d.Table)))
	}
	return lines
}

func (p *Pack) stepLines(s *Step) []reason.Reason {
	switch s.Shape {
	case ShapePools:
		return append(p.eachLines("page.step.mine", s, &s.Each), append(p.eachLines("page.step.theirs", s, s.Theirs), reason.New("page.step.cancel"))...)
	case ShapeTable:
		lines := []reason.Reason{reason.New("page.step.table", "step", reason.Name(s.Words), "table", p.tableNamed(s.Lookup.Table))}
		if s.ShiftMost < noCap || s.ShiftLeast > -noCap {
			lines = append(lines, reason.New("page.step.shift", "least", -s.ShiftLeast, "most", s.ShiftMost))
		}
		return lines
	case ShapeTotal:
		return p.totalLines(s)
	}
	lines := p.eachLines("page.step.each", s, &s.Each)
	if len(s.Then) > 0 {
		lines = append(lines, reason.New("page.step.for_each", "then", p.then(s.Then)))
	}
	return lines
}

// eachLines are the dice of a step, or of one side of its pools.
func (p *Pack) eachLines(id string, s *Step, e *Each) []reason.Reason {
	need := []reason.Reason{p.value(e.Need)}
	for _, from := range e.Worse {
		need = append(need, reason.New("page.step.worse", "value", p.value(from)))
	}
	for _, from := range e.Better {
		need = append(need, reason.New("page.step.better", "value", p.value(from)))
	}
	if e.OneFails {
		need = append(need, reason.New("page.step.one"))
	}
	if e.TopGoes {
		need = append(need, reason.New("page.step.top", "top", e.Sides))
	}
	number := reason.New("page.step.one_each")
	if e.Number != (Source{}) {
		number = p.value(e.Number)
	}
	lines := []reason.Reason{reason.New(id, "step", reason.Name(s.Words), "die", "d"+strconv.Itoa(e.Sides), "number", number, "need", joined("page.comma", need))}
	if e.PerModel {
		lines = append(lines, reason.New("page.step.model"))
	}
	if e.Most < noCap || e.Least > -noCap {
		lines = append(lines, reason.New("page.step.caps", "step", reason.Name(s.Words), "least", -e.Least, "most", e.Most))
	}
	return lines
}

func (p *Pack) totalLines(s *Step) []reason.Reason {
	lines := []reason.Reason{reason.New("page.step.rolls", "step", reason.Name(s.Words), "dice", p.added(s.Dice, s.Total.Plus))}
	if s.Open > 0 {
		lines = append(lines, reason.New("page.step.open", "n", s.Open))
	}
	if o := s.Opponent; o != nil {
		lines = append(lines, reason.New("page.step.against", "dice", p.added(o.Dice, o.Plus)), reason.New("page.tie."+slug(Ties[o.Tie])))
	} else {
		id := []string{"", "page.step.at_least", "page.step.at_most", "page.step.more_than"}[s.Judge]
		lines = append(lines, reason.New(id, "value", p.value(s.By)))
	}
	if s.Within > 0 {
		lines = append(lines, reason.New("page.step.within", "n", s.Within))
	}
	for _, shown := range s.Naturals {
		lines = append(lines, p.shownLine(shown))
	}
	if s.Excess != nil {
		lines = append(lines, reason.New("page.step.excess", "then", p.then([]Consequence{*s.Excess})))
	}
	if len(s.Then) > 0 {
		id := "page.step.then"
		if s.Opponent != nil {
			id = "page.step.wins"
		}
		lines = append(lines, reason.New(id, "then", p.then(s.Then)))
	}
	if len(s.Otherwise) > 0 {
		lines = append(lines, reason.New("page.step.otherwise", "then", p.then(s.Otherwise)))
	}
	return lines
}

func (p *Pack) shownLine(s Shown) reason.Reason {
	then := p.then(s.Then)
	if s.Fails {
		then = append([]reason.Reason{reason.New("page.step.fails")}, then...)
	}
	if s.Top {
		return reason.New("page.step.all_top", "then", then)
	}
	return reason.New("page.step.all_ones", "then", then)
}

func (p *Pack) effectLines() []reason.Reason {
	var lines []reason.Reason
	for i := range p.Effects {
		e := &p.Effects[i]
		does := e.does.words(p)
		if e.Owner == Target && p.attackersDice(e) {
			does = reason.New("page.effect.against", "what", does)
		}
		if e.Always {
			does = reason.New("page.effect.always", "what", does)
		}
		if len(e.If) > 0 {
			does = reason.New("page.effect.if", "what", does, "if", conditionWords(e.If))
		}
		lines = append(lines, reason.New("page.named", "name", reason.Name(e.Words), "what", does))
	}
	return lines
}

// attackersDice tells whether an effect acts on a step that the attacker rolls.
func (p *Pack) attackersDice(e *Effect) bool {
	step := ""
	switch does := e.does.(type) {
	case modify:
		step = does.step
	case reroll:
		step = does.step
	}
	s := p.Step(step)
	return s != nil && s.Roller != Target
}

func (p *Pack) statusLines() []reason.Reason {
	var lines []reason.Reason
	for _, s := range p.Statuses {
		what := []reason.Reason{reason.New("page.until." + slug(s.Until))}
		if len(s.Effects) > 0 {
			what = append(what, reason.New("page.gives", "names", p.effectNames(s.Effects)))
		}
		if len(s.Each) > 0 {
			what = append(what, reason.New("page.each_turn", "then", p.then(s.Each)))
		}
		lines = append(lines, reason.New("page.named", "name", reason.Name(s.Words), "what", what))
	}
	return lines
}

func (p *Pack) keywordLines() []reason.Reason {
	var lines []reason.Reason
	for _, k := range p.Keywords {
		if len(k.Effects) == 0 {
			lines = append(lines, reason.New("page.line", "name", reason.Name(k.Words)))
			continue
		}
		lines = append(lines, reason.New("page.named", "name", reason.Name(k.Words), "what", reason.New("page.gives", "names", p.effectNames(k.Effects))))
	}
	return lines
}

func (p *Pack) powerLines() []reason.Reason {
	var lines []reason.Reason
	for _, w := range p.Powers {
		lines = append(lines, reason.New("page.power."+w.Target, "name", reason.Name(w.Title), "words", reason.Name(w.Words),
			"value", w.Value, "range", w.Range, "then", p.then(w.Then)))
	}
	return lines
}

func (p *Pack) weaponLines() []reason.Reason {
	var lines []reason.Reason
	for i := range p.Weapons {
		lines = append(lines, p.weaponLine(&p.Weapons[i]))
	}
	return lines
}

func (p *Pack) weaponLine(w *Weapon) reason.Reason {
	var what []reason.Reason
	say := func(id string, value any) { what = append(what, reason.New("page.weapon."+id, "n", value)) }
	if !w.Melee() {
		say("range", w.Range)
	}
	if w.Attacks.Most() > 0 {
		say("attacks", w.Attacks.String())
	}
	if w.Crew > 1 {
		say("crew", w.Crew)
	}
	if w.Strength > 0 {
		say("strength", w.Strength)
	}
	if w.Piercing > 0 {
		say("piercing", w.Piercing)
	}
	if w.Damage.Most() > 0 {
		say("damage", w.Damage.String())
	}
	for _, name := range p.effectNames(w.Effects) {
		say("effect", name)
	}
	id := "page.weapon." + w.Type
	if len(what) == 0 {
		id = "page.weapon.bare" // only melee, where nothing of the weapon counts
	}
	return reason.New(id, "name", reason.Name(w.Title), "what", what)
}

func (p *Pack) musterLines() []reason.Reason {
	var lines []reason.Reason
	if len(p.Muster.Points) > 0 {
		var points []string
		for _, n := range p.Muster.Points {
			points = append(points, strconv.Itoa(n))
		}
		lines = append(lines, reason.New("page.points", "points", points))
	}
	for _, limit := range p.Muster.Limits {
		id := "page.limit"
		if limit.ForEach > 0 {
			id = "page.limit_each"
		}
		lines = append(lines, reason.New(id, "keyword", reason.Name(limit.Keyword), "least", limit.Least, "most", limit.Most, "each", limit.ForEach))
	}
	return lines
}

func (p *Pack) armyLines(a *Army) []reason.Reason {
	var lines []reason.Reason
	for _, id := range a.Units {
		lines = append(lines, p.UnitLine(p.Unit(id)))
	}
	return lines
}

// UnitLine is one unit in a line: its size, what it costs, its profile, what it
// carries and what it can do.
func (p *Pack) UnitLine(u *Unit) reason.Reason {
	size := reason.New("page.unit.size", "least", u.Least, "most", u.Most)
	if u.Least == u.Most {
		size = reason.New("page.unit.fixed", "n", u.Least)
	}
	cost := reason.New("page.unit.each", "n", u.Each(p))
	if u.Price > 0 {
		cost = reason.New("page.unit.price", "n", u.Price)
	}
	what := p.profileWords(u.Profile)
	for _, id := range u.Weapons {
		what = append(what, reason.New("page.line", "name", reason.Name(p.Weapon(id).Title)))
	}
	for _, name := range p.effectNames(u.Effects) {
		what = append(what, reason.New("page.line", "name", name))
	}
	for _, id := range u.Powers {
		what = append(what, reason.New("page.unit.power", "name", reason.Name(p.Power(id).Title)))
	}
	for _, other := range u.Others {
		what = append(what, reason.New("page.unit.other", "n", other.Number, "name", reason.Name(other.Title), "what", p.profileWords(other.Profile)))
	}
	return reason.New("page.unit_line", "name", reason.Name(u.Title), "size", size, "cost", cost, "what", what)
}

func (p *Pack) profileWords(profile Profile) []reason.Reason {
	var words []reason.Reason
	for _, c := range p.Characteristics {
		v, has := profile[c.ID]
		if !has || c.Kind == Points {
			continue
		}
		written := strconv.Itoa(v.Number)
		switch c.Kind {
		case Need:
			written = v.Need.String()
		case Amount:
			written = v.Amount.String()
		case Marks:
			var marks []string
			for _, mark := range v.Marks {
				marks = append(marks, strconv.Itoa(mark))
			}
			written = strings.Join(marks, ", ")
		}
		words = append(words, reason.New("page.unit.value", "name", p.unlike(c), "value", written))
	}
	return words
}

// unlike is what people call a characteristic, or its id where two are called
// the same.
func (p *Pack) unlike(c Characteristic) reason.Name {
	for _, other := range p.Characteristics {
		if other.ID != c.ID && other.Words == c.Words {
			return reason.Name(c.ID)
		}
	}
	return reason.Name(c.Words)
}

func (p *Pack) scenarioLines() []reason.Reason {
	var lines []reason.Reason
	holds := false
	for _, s := range p.Scenarios {
		var places []reason.Name
		for _, o := range s.Objectives {
			places = append(places, reason.Name(o.Title))
		}
		lines = append(lines, reason.New("page.scenario", "name", reason.Name(s.Title), "words", reason.Name(s.Words), "turns", s.Turns, "holds", s.Holds, "places", places))
		holds = holds || s.Holds > 0 && len(places) > 0
	}
	if holds {
		lines = append(lines, reason.New("page.holding"))
	}
	return lines
}

// idleStanding is what nobody is ever asked in this game.
func (p *Pack) idleStanding() []string {
	var idle []string
	if p.RerollsEachTurn == 0 {
		idle = append(idle, "reroll")
	}
	if p.Does("cast") == "" {
		idle = append(idle, "counter", "mishap")
	}
	if p.Does("fight") == "" {
		idle = append(idle, "fight")
	}
	if p.Does("charge") != "table" {
		idle = append(idle, "follow_up", "retreat_way")
	}
	if !slices.ContainsFunc(p.Effects, func(e Effect) bool { return e.does == deed(may{"join"}) }) {
		idle = append(idle, "join_leave")
	}
	return idle
}

func (p *Pack) standingLines() []reason.Reason {
	s := p.Standing
	said := []string{s.WhoFalls, s.Save, s.Reroll, s.Counter, s.WhenCharged, s.Split, s.Fight, s.FollowUp, s.RetreatWay, s.Mishap, s.JoinLeave}
	var lines []reason.Reason
	idle := p.idleStanding()
	for i, k := range StandingKeys {
		if slices.Contains(idle, k.Key) {
			continue
		}
		lines = append(lines, reason.New("page.standing."+k.Key, "value", said[i]))
	}
	return lines
}
