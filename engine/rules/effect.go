package rules

import (
	"slices"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Effect is a special rule. It acts where a unit, weapon, keyword or status
// names it (or everywhere, with Always), for the side that owns it, when all of
// its conditions hold.
type Effect struct {
	ID     string
	Words  string
	Kind   string
	Owner  Side // Attacker or Target of the attack; Self for what changes its own unit
	Always bool
	If     []Condition

	does deed
}

// deed is what an effect of some kind does to an attack while it is compiled.
type deed interface {
	apply(w *work, e *Effect)
	words(p *Pack) reason.Reason
}

// effectKinds is the registry: a new kind is one row here and one deed. Owner is
// whose an effect of the kind is where it does not say: Self for what changes its
// own unit wherever that is looked at, and nobody else's.
var effectKinds = []struct {
	kind  string
	owner Side
	read  func(*loader, *source.Table) deed
}{
	{"modify", Attacker, (*loader).modify},
	{"change", Self, (*loader).change},
	{"attacks", Attacker, (*loader).moreAttacks},
	{"reroll", Attacker, (*loader).reroll},
	{"natural", Attacker, (*loader).natural},
	{"passes", Attacker, (*loader).passes},
	{"ignore", Attacker, (*loader).ignore},
	{"last_save", Target, (*loader).lastSave},
	{"save", Target, (*loader).save},
	{"sure", Attacker, (*loader).sure},
	{"damage", Attacker, (*loader).moreDamage},
	{"spill", Attacker, (*loader).spill},
	{"falls", Self, (*loader).falls},
	{"may", Self, (*loader).may},
	{"may_not", Self, (*loader).mayNot},
}

// EffectKinds are the words for them.
func EffectKinds() []string {
	var kinds []string
	for _, k := range effectKinds {
		kinds = append(kinds, k.kind)
	}
	return kinds
}

// EffectOwners is whose an effect is.
var EffectOwners = []string{string(Attacker), string(Target), string(Self)}

func (l *loader) effect(r row) {
	e := Effect{ID: r.id, Words: r.words(), Kind: r.OneOf("kind", EffectKinds())}
	owner := Attacker
	for _, k := range effectKinds {
		if k.kind == e.Kind {
			e.does, owner = k.read(l, r.Table), k.owner
		}
	}
	if c, ok := e.does.(change); ok && c.of != "" {
		owner = Attacker
	}
	e.Owner = Side(r.OneOfOr("owner", EffectOwners, string(owner)))
	e.Always = r.Truth("always", false)
	e.If = l.conditions(r.Table, "if", 1)
	if owner == Self || e.Owner == Self {
		if e.Owner != owner && e.does != nil {
			r.Fault("owner", reason.New("pack.effect.owner", "effect", e.ID, "kind", e.Kind))
		}
		e.Owner = owner
	}
	l.pack.Effects = append(l.pack.Effects, e)
}

// modify makes a step easier or harder, or shifts the column of a table; all
// modifiers together are capped.
type modify struct {
	step   string
	by     int
	theirs bool
}

func (l *loader) modify(t *source.Table) deed {
	return modify{l.name(t, "step", "step"), t.Number("by", -noCap, noCap), theirs(t)}
}

// PoolSides is which of two pools an effect is about; mine where it does not say.
var PoolSides = []string{"mine", "theirs"}

func theirs(t *source.Table) bool { return t.OneOfOr("pool", PoolSides, "mine") == "theirs" }

func (m modify) apply(w *work, e *Effect) {
	if s := w.step(m.step, m.theirs); s != nil {
		s.modified += m.by
		s.because(signed(m.by, e))
	}
	if w.looking(m.step) {
		w.shifted += m.by
		w.shiftWhy = append(w.shiftWhy, shiftedBy(m.by, e))
	}
}

func (m modify) words(p *Pack) reason.Reason {
	id := "page.effect.better"
	switch step := p.Step(m.step); {
	case step.Shape == ShapeTable && m.by < 0:
		id = "page.effect.left"
	case step.Shape == ShapeTable:
		id = "page.effect.right"
	case m.by < 0:
		id = "page.effect.worse"
	}
	return reason.New(id, "by", max(m.by, -m.by), "step", p.stepNamed(m.step))
}

// looking tells whether the attack is a roll on a table, by that step.
func (w *work) looking(step string) bool {
	s := w.pack.Step(step)
	return s != nil && s.Shape == ShapeTable && w.sequence != nil && slices.Contains(w.sequence.Steps, step)
}

func shiftedBy(n int, e *Effect) reason.Reason {
	if n < 0 {
		return reason.New("why.shift.left", "by", -n, "name", reason.Name(e.Words))
	}
	return reason.New("why.shift.right", "by", n, "name", reason.Name(e.Words))
}

// reroll lets dice of a step be rolled again.
type reroll struct {
	step   string
	which  attack.Rerolls
	word   string
	theirs bool
}

// RerollWords is which dice of a step may be rolled again.
var RerollWords = []string{"ones", "misses", "passes", "one miss"}

func (l *loader) reroll(t *source.Table) deed {
	r := reroll{step: l.name(t, "step", "step"), word: t.OneOf("which", RerollWords), theirs: theirs(t)}
	r.which, _ = attack.RerollNamed(r.word)
	return r
}

func (r reroll) apply(w *work, e *Effect) {
	if s := w.step(r.step, r.theirs); s != nil {
		s.rerolls |= r.which
		s.also = append(s.also, reason.New("why.reroll."+strings.ReplaceAll(r.word, " ", "_"), "name", reason.Name(e.Words)))
	}
}

func (r reroll) words(p *Pack) reason.Reason {
	return reason.New("page.effect.reroll_"+strings.ReplaceAll(r.word, " ", "_"), "step", p.stepNamed(r.step))
}

// natural gives something to a die that goes on with a high natural face.
type natural struct {
	step  string
	gives []attack.Natural
	ids   []string // of the gifts
}

func (l *loader) natural(t *source.Table) deed {
	n := natural{step: l.name(t, "step", "step")}
	from := t.Number("from", 2, attack.MostSides)
	gives := t.Inner("gives")
	if gives == nil {
		return n
	}
	for _, id := range GiftWords {
		if !gives.Has(id) {
			continue
		}
		gift, _ := attack.GiftNamed(id)
		amount := 1
		if gift == attack.NoSave {
			gives.Truth(id, true)
		} else {
			amount = gives.Number(id, 1, mostGift)
		}
		n.gives = append(n.gives, attack.Natural{From: from, Gift: gift, Amount: amount})
		n.ids = append(n.ids, id)
	}
	if len(n.gives) == 0 {
		t.Fault("gives", reason.New("pack.gives", "known", slices.Clone(GiftWords)))
	}
	gives.Close()
	return n
}

// GiftWords is what a natural face may give; mostGift bounds each.
var GiftWords = []string{"extra", "skip", "no_save", "damage", "pierce", "sure", "also_sure"}

const mostGift = 20

func (n natural) apply(w *work, e *Effect) {
	s := w.step(n.step, false)
	if s == nil {
		return
	}
	for i, gift := range n.gives {
		s.naturals = append(s.naturals, gift)
		s.also = append(s.also, reason.New("why.natural."+n.ids[i], "from", gift.From, "amount", gift.Amount, "name", reason.Name(e.Words)))
	}
}

func (n natural) words(p *Pack) reason.Reason {
	var gives []reason.Reason
	for i, gift := range n.gives {
		gives = append(gives, reason.New("page.gift."+n.ids[i], "n", gift.Amount))
	}
	id := "page.effect.natural"
	if s := p.Step(n.step); s != nil && s.Each.Sides == n.gives[0].From {
		id = "page.effect.natural_top"
	}
	return reason.New(id, "from", n.gives[0].From, "step", p.stepNamed(n.step), "gives", gives)
}

// passes lets a step pass without a roll.
type passes struct{ step string }

func (l *loader) passes(t *source.Table) deed { return passes{l.name(t, "step", "step")} }

func (p passes) apply(w *work, e *Effect) {
	if s := w.step(p.step, false); s != nil {
		s.passes = true
		s.because(reason.New("why.passes", "name", reason.Name(e.Words)))
	}
}

func (d passes) words(p *Pack) reason.Reason {
	return reason.New("page.effect.passes", "step", p.stepNamed(d.step))
}

// moreAttacks changes how many attacks there are.
type moreAttacks struct{ times, plus, least int }

func (l *loader) moreAttacks(t *source.Table) deed {
	if n := count(t, []string{"times", "plus", "least"}); n == 0 {
		t.Fault("kind", reason.New("pack.attacks"))
	}
	return moreAttacks{t.NumberOr("times", 1, 10, 1), t.NumberOr("plus", 0, 20, 0), t.NumberOr("least", 0, 20, 0)}
}

func (m moreAttacks) apply(w *work, e *Effect) {
	w.times *= m.times
	w.plus += m.plus
	w.least = max(w.least, m.least)
	w.attacksBecause(reason.New("why.attacks.more", "name", reason.Name(e.Words)))
}

func (m moreAttacks) words(*Pack) reason.Reason {
	var all []reason.Reason
	if m.times > 1 {
		all = append(all, reason.New("page.effect.times", "n", m.times))
	}
	if m.plus > 0 {
		all = append(all, reason.New("page.effect.plus", "n", m.plus))
	}
	if m.least > 0 {
		all = append(all, reason.New("page.effect.least", "n", m.least))
	}
	return reason.New("page.effect.attacks", "what", all)
}

// ignore takes another effect out of this attack.
type ignore struct{ what string }

func (l *loader) ignore(t *source.Table) deed { return ignore{l.name(t, "what", "effect")} }

// apply does nothing: what is ignored is settled before anything is applied.
func (ignore) apply(*work, *Effect) {}

func (i ignore) words(p *Pack) reason.Reason {
	return reason.New("page.effect.ignore", "what", p.effectNamed(i.what))
}

// lastSave gives a save against each point of damage; the best one counts.
type lastSave struct{ need attack.Need }

func (l *loader) lastSave(t *source.Table) deed { return lastSave{l.need(t, "need")} }

func (s lastSave) apply(w *work, e *Effect) {
	w.betterLast(s.need, reason.New("why.effect", "name", reason.Name(e.Words)))
}

func (s lastSave) words(*Pack) reason.Reason {
	return reason.New("page.effect.last_save", "need", s.need.String())
}
