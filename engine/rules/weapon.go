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

// weaponTypes are the closed set of types. A sidearm or a thrown weapon is used
// instead of the unit's missiles, not as well.
var weaponTypes = []string{"melee", "missile", "sidearm", "thrown"}

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
		ID: r.id, Title: r.TextOr("title", MostName, r.id), Type: r.OneOf("type", weaponTypes), Crew: r.NumberOr("crew", 1, MostModels, 1),
		Strength: r.Number("strength", 0, MostNumber), Piercing: r.Number("piercing", 0, noCap),
		Damage: l.amount(r.Table, "damage"), Effects: l.names(r.Table, "effects", "effect"),
	}
	if !w.Melee() {
		w.Range = reason.Inches(10 * r.Number("range", 1, MostInches))
		w.Attacks = l.amount(r.Table, "attacks")
	}
	l.pack.Weapons = append(l.pack.Weapons, w)
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

func (l *loader) power(r row) {
	l.pack.Powers = append(l.pack.Powers, Power{
		ID: r.id, Title: r.TextOr("title", MostName, r.id), Words: r.words(),
		Value: r.Number("value", 1, MostNumber), Range: l.inches(r.Table, "range"), Sight: r.Truth("sight", true),
		Target: r.OneOf("target", []string{"friend", "enemy"}), Then: l.consequences(r.Table, "then"),
	})
}
