package rules

import (
	"fmt"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// save gives a second save, which piercing does not worsen; the better of the
// two is rolled.
type save struct{ need attack.Need }

func (l *loader) save(t *source.Table) deed { return save{l.need(t, "need")} }

func (s save) apply(w *work, e *Effect) {
	if w.other == (attack.Need{}) || s.need.Face < w.other.Face {
		w.other, w.otherWhy = s.need, reason.New("why.effect", "name", reason.Name(e.Words))
	}
}

func (s save) words(*Pack) reason.Reason {
	return reason.New("page.effect.save", "need", s.need.String())
}

// sure lets no save be rolled against the damage, and it always spills.
type sure struct{}

func (l *loader) sure(*source.Table) deed { return sure{} }

func (sure) apply(w *work, e *Effect) {
	w.sure = true
	w.damageBecause(reason.New("why.sure", "name", reason.Name(e.Words)))
}

func (sure) words(*Pack) reason.Reason { return reason.New("page.effect.sure") }

// moreDamage makes each attack do more damage.
type moreDamage struct{ plus int }

func (l *loader) moreDamage(t *source.Table) deed { return moreDamage{t.Number("plus", 1, mostGift)} }

func (d moreDamage) apply(w *work, e *Effect) {
	w.damage += d.plus
	w.damageBecause(reason.New("why.damage_more", "by", d.plus, "name", reason.Name(e.Words)))
}

func (d moreDamage) words(*Pack) reason.Reason { return reason.New("page.effect.damage", "n", d.plus) }

// spill lets damage beyond a model's last wound go on to the next one.
type spill struct{}

func (l *loader) spill(*source.Table) deed { return spill{} }

func (spill) apply(w *work, e *Effect) {
	w.spills = true
	w.damageBecause(reason.New("why.spill", "name", reason.Name(e.Words)))
}

func (spill) words(*Pack) reason.Reason { return reason.New("page.effect.spill") }

// falls has a unit's models fall before or after those that they stand with.
type falls struct{ which string }

func (l *loader) falls(t *source.Table) deed { return falls{t.OneOf("which", FallsWhen)} }

func (falls) apply(*work, *Effect) {}

func (f falls) words(*Pack) reason.Reason { return reason.New("page.effect.falls_" + f.which) }

// change changes a value of a profile: by some, or times a part. It acts where
// the value is looked up, not on the attack. Without of it is its own unit's; of
// the target it is that of whoever its unit attacks.
type change struct {
	characteristic string
	by             int
	times          [2]int // a share; zero for all of it
	of             Side
}

// ChangeOf is whose value an effect may change besides its own unit's.
var ChangeOf = []string{string(Target)}

func (l *loader) change(t *source.Table) deed {
	c := change{characteristic: l.name(t, "characteristic", "characteristic")}
	c.of = Side(t.OneOfOr("of", ChangeOf, ""))
	if n := count(t, []string{"by", "times"}); n != 1 {
		t.FaultAt(t.Place(), reason.New("pack.change", "number", n))
		return c
	}
	if t.Has("times") {
		c.times = Shares[t.OneOf("times", ShareWords)]
		l.fitsTrait(t, "characteristic", c.characteristic, Number, Inches)
		return c
	}
	c.by = t.Number("by", -noCap, noCap)
	return c
}

func (change) apply(*work, *Effect) {}

// number is a number after the change; what was above nothing stays so.
func (c change) number(n int) int {
	if c.times[1] > 0 {
		return n * c.times[0] / c.times[1]
	}
	return max(0, n+c.by)
}

func (c change) words(p *Pack) reason.Reason {
	whose := reason.New("page.effect.own")
	if c.of == Target {
		whose = reason.New("page.effect.targets")
	}
	name := reason.Name(p.wordsFor(c.characteristic))
	if c.times[1] > 0 {
		return reason.New("page.effect.part", "name", name, "whose", whose, "times", fmt.Sprintf("%d/%d", c.times[0], c.times[1]))
	}
	return reason.New("page.effect.change", "name", name, "whose", whose, "by", fmt.Sprintf("%+d", c.by))
}

// may and mayNot say what a unit may do; the battle asks for them.
type (
	may    struct{ what string }
	mayNot struct{ what string }
)

// MayWhat and MayNotWhat are the closed sets of what effects allow and forbid.
// Turning is said by the players: nothing measures it.
var (
	MayWhat    = []string{"move over", "shoot every weapon", "join"}
	MayNotWhat = []string{"move", "run", "turn", "shoot", "charge", "cast", "fight"}
)

func (l *loader) may(t *source.Table) deed    { return may{t.OneOf("what", MayWhat)} }
func (l *loader) mayNot(t *source.Table) deed { return mayNot{t.OneOf("what", MayNotWhat)} }

func (may) apply(*work, *Effect)    {}
func (mayNot) apply(*work, *Effect) {}

func (m may) words(*Pack) reason.Reason { return reason.New("page.effect.may", "what", m.what) }

func (m mayNot) words(*Pack) reason.Reason { return reason.New("page.effect.may_not", "what", m.what) }
