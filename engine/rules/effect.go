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
type deed interface{ apply(w *work, e *Effect) }

// effectKinds is the registry: a new kind is one row here and one deed.
var effectKinds = []struct {
	kind string
	read func(*loader, *source.Table) deed
}{
	{"modify", (*loader).modify},
	{"reroll", (*loader).reroll},
	{"natural", (*loader).natural},
	{"passes", (*loader).passes},
	{"attacks", (*loader).moreAttacks},
	{"ignore", (*loader).ignore},
	{"last_save", (*loader).lastSave},
	{"change", (*loader).change},
	{"may", (*loader).may},
	{"may_not", (*loader).mayNot},
}

func (l *loader) effect(r row) {
	var kinds []string
	for _, k := range effectKinds {
		kinds = append(kinds, k.kind)
	}
	e := Effect{ID: r.id, Words: r.words(), Kind: r.OneOf("kind", kinds)}
	owners := []string{string(Attacker), string(Target), string(Self)}
	e.Owner = Side(r.OneOfOr("owner", owners, string(Attacker)))
	e.Always = r.Truth("always", false)
	e.If = l.conditions(r.Table, "if", 1)
	for _, k := range effectKinds {
		if k.kind == e.Kind {
			e.does = k.read(l, r.Table)
		}
	}
	switch e.does.(type) {
	case change, may, mayNot:
		e.Owner = Self
	default:
		if e.Owner == Self {
			r.Fault("owner", reason.New("pack.effect.owner", "effect", e.ID, "kind", e.Kind))
		}
	}
	l.pack.Effects = append(l.pack.Effects, e)
}

// modify makes a step easier or harder; all modifiers together are capped.
type modify struct {
	step string
	by   int
}

func (l *loader) modify(t *source.Table) deed {
	return modify{l.name(t, "step", "step"), t.Number("by", -noCap, noCap)}
}

func (m modify) apply(w *work, e *Effect) {
	if s := w.step(m.step); s != nil {
		s.modified += m.by
		s.because(signed(m.by, e))
	}
}

// reroll lets dice of a step be rolled again.
type reroll struct {
	step  string
	which attack.Rerolls
	word  string
}

func (l *loader) reroll(t *source.Table) deed {
	r := reroll{step: l.name(t, "step", "step"), word: t.OneOf("which", []string{"ones", "misses", "passes", "one miss"})}
	r.which, _ = attack.RerollNamed(r.word)
	return r
}

func (r reroll) apply(w *work, e *Effect) {
	if s := w.step(r.step); s != nil {
		s.rerolls |= r.which
		s.also = append(s.also, reason.New("why.reroll."+strings.ReplaceAll(r.word, " ", "_"), "name", reason.Name(e.Words)))
	}
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
	for _, id := range giftIDs {
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
		t.Fault("gives", reason.New("pack.gives", "known", slices.Clone(giftIDs)))
	}
	gives.Close()
	return n
}

// giftIDs is what a natural face may give; mostGift bounds each.
var giftIDs = []string{"extra", "skip", "no_save", "damage", "pierce", "sure", "also_sure"}

const mostGift = 20

func (n natural) apply(w *work, e *Effect) {
	s := w.step(n.step)
	if s == nil {
		return
	}
	for i, gift := range n.gives {
		s.naturals = append(s.naturals, gift)
		s.also = append(s.also, reason.New("why.natural."+n.ids[i], "from", gift.From, "amount", gift.Amount, "name", reason.Name(e.Words)))
	}
}

// passes lets a step pass without a roll.
type passes struct{ step string }

func (l *loader) passes(t *source.Table) deed { return passes{l.name(t, "step", "step")} }

func (p passes) apply(w *work, e *Effect) {
	if s := w.step(p.step); s != nil {
		s.passes = true
		s.because(reason.New("why.passes", "name", reason.Name(e.Words)))
	}
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

// ignore takes another effect out of this attack.
type ignore struct{ what string }

func (l *loader) ignore(t *source.Table) deed { return ignore{l.name(t, "what", "effect")} }

// apply does nothing: what is ignored is settled before anything is applied.
func (ignore) apply(*work, *Effect) {}

// lastSave gives a save against each point of damage; the best one counts.
type lastSave struct{ need attack.Need }

func (l *loader) lastSave(t *source.Table) deed { return lastSave{l.need(t, "need")} }

func (s lastSave) apply(w *work, e *Effect) {
	w.betterLast(s.need, reason.New("why.effect", "name", reason.Name(e.Words)))
}

// change changes a value of its own unit's profile. It acts where the value is
// looked up, not on the attack.
type change struct {
	characteristic string
	by             int
}

func (l *loader) change(t *source.Table) deed {
	return change{l.name(t, "characteristic", "characteristic"), t.Number("by", -noCap, noCap)}
}

func (change) apply(*work, *Effect) {}

// may and mayNot say what a unit may do; the battle asks for them.
type (
	may    struct{ what string }
	mayNot struct{ what string }
)

// MayWhat and MayNotWhat are the closed sets of what effects allow and forbid.
var (
	MayWhat    = []string{"move over", "shoot every weapon"}
	MayNotWhat = []string{"move", "run", "shoot", "charge", "cast", "fight"}
)

func (l *loader) may(t *source.Table) deed    { return may{t.OneOf("what", MayWhat)} }
func (l *loader) mayNot(t *source.Table) deed { return mayNot{t.OneOf("what", MayNotWhat)} }

func (may) apply(*work, *Effect)    {}
func (mayNot) apply(*work, *Effect) {}
