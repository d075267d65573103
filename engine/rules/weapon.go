package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Weapon is one way to attack.
type Weapon struct {
	ID       string
	Title    string
	Type     string        // "melee", "missile", "sidearm" or "thrown"
	Range    reason.Inches // 0 for melee
	Attacks  attack.Amount // of one that shoots
	Crew     int           // so many models serve one; 1 for each its own
	Strength int
	Piercing int
	Damage   attack.Amount
	Effects  []string
}

// WeaponTypes are the closed set of types. A sidearm or a thrown weapon is used
// instead of the unit's missiles, not as well.
var WeaponTypes = []string{"melee", "missile", "sidearm", "thrown"}

// Melee tells whether it is for fighting, not for shooting.
func (w *Weapon) Melee() bool { return w.Type == "melee" }

// Light tells whether it is used instead of the unit's other missiles.
func (w *Weapon) Light() bool { return w.Type == "sidearm" || w.Type == "thrown" }

// Reaches tells whether something so far away is in range.
func (w *Weapon) Reaches(distance reason.Inches) bool { return distance <= w.Range }

// Used is how many of the weapon so many models use: one each, or one for each
// crew, a crew that has lost some included.
func (w *Weapon) Used(models int) int { return (models + w.Crew - 1) / w.Crew }

func (l *loader) weapon(r row) {
	w := Weapon{
		ID: r.id, Title: r.TextOr("title", MostName, r.id), Type: r.OneOf("type", WeaponTypes), Crew: r.NumberOr("crew", 1, MostModels, 1),
		Effects: l.names(r.Table, "effects", "effect"),
	}
	asked := l.askedOf(&w)
	if asked["strength"] {
		w.Strength = r.Number("strength", 0, MostNumber)
	}
	if asked["piercing"] {
		w.Piercing = r.Number("piercing", 0, noCap)
	}
	if asked["damage"] {
		w.Damage = l.amount(r.Table, "damage")
	}
	if asked["attacks"] {
		w.Attacks = l.amount(r.Table, "attacks")
	}
	if !w.Melee() {
		w.Range = reason.Inches(10 * r.Number("range", 1, MostInches))
	}
	l.pack.Weapons = append(l.pack.Weapons, w)
}

// askedOf is what the sequence that a weapon is used in takes from it: that it
// must have, and nothing else.
func (l *loader) askedOf(w *Weapon) map[string]bool {
	asked := map[string]bool{}
	note := func(s Source) {
		if s.Of == OfWeapon {
			asked[s.From] = true
		}
		if c := l.pack.Chart(s.Chart); c != nil {
			for _, s := range [...]Source{c.First, c.Second} {
				asked[s.From] = asked[s.From] || s.Of == OfWeapon
			}
		}
	}
	for _, order := range w.orders() {
		if seq := l.pack.SequenceOf(order); seq != nil {
			for _, s := range l.pack.sourcesOf(seq) {
				note(s)
			}
		}
	}
	return asked
}

// sourcesOf are all values that a sequence takes from somewhere.
func (p *Pack) sourcesOf(seq *Sequence) []Source {
	var all []Source
	if seq.Number != nil {
		all = append(all, seq.Number.From)
	}
	if seq.Damage != nil {
		all = append(all, seq.Damage.Amount, seq.Damage.LastSave)
	}
	for _, id := range seq.Steps {
		step := p.Step(id)
		if step == nil {
			continue
		}
		eaches := []Each{step.Each}
		if step.Theirs != nil {
			eaches = append(eaches, *step.Theirs)
		}
		for _, e := range eaches {
			all = append(append(append(all, e.Number, e.Need), e.Better...), e.Worse...)
		}
		all = append(append(all, step.By), step.Total.Plus...)
		if step.Opponent != nil {
			all = append(all, step.Opponent.Plus...)
		}
		if t := p.Table(step.Lookup.Table); t != nil {
			all = append(all, Source{Chart: t.Columns})
		}
	}
	return all
}

// Power is what a caster may cast.
type Power struct {
	ID     string
	Title  string
	Words  string
	Value  int // the casting roll must be this or more
	Range  reason.Inches
	Sight  bool   // the caster must see its target
	Target string // "friend" or "enemy"
	Then   []Consequence
}

// PowerTargets is whom a power is cast at.
var PowerTargets = []string{"friend", "enemy"}

func (l *loader) power(r row) {
	l.pack.Powers = append(l.pack.Powers, Power{
		ID: r.id, Title: r.TextOr("title", MostName, r.id), Words: r.words(),
		Value: r.Number("value", 1, MostNumber), Range: l.inches(r.Table, "range"), Sight: r.Truth("sight", true),
		Target: r.OneOf("target", PowerTargets), Then: l.consequences(r.Table, "then"),
	})
}
