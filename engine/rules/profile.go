package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Trait is what kind of value a characteristic has.
type Trait string

// The kinds of characteristic.
const (
	Number Trait = "number" // a whole number
	Need   Trait = "need"   // "4+"
	Inches Trait = "inches" // a whole number of inches
	Amount Trait = "amount" // a number or dice
	Points Trait = "points" // what a model costs
	Marks  Trait = "marks"  // on what is crossed off: [3, 6]
	Column Trait = "column" // no characteristic: what a chart by ratio gives
)

// Traits is the closed set of kinds of a characteristic.
var Traits = []string{string(Number), string(Need), string(Inches), string(Amount), string(Points), string(Marks)}

// Characteristic is one line of every profile.
type Characteristic struct {
	ID       string
	Words    string
	Kind     Trait
	Optional bool // a unit may be without it
}

// Value is a characteristic's value in a profile; the member that its kind
// names is set.
type Value struct {
	Number int // number, inches (whole), points
	Need   attack.Need
	Amount attack.Amount
	Marks  []int // rising, each 1 or more
}

// Profile is a unit's values by the id of the characteristic; what a unit is
// without is absent.
type Profile map[string]Value

// Keyword is a word that rules and effects may ask for.
type Keyword struct {
	ID      string
	Words   string
	Effects []string
}

// Status is what lies on a unit for a while.
type Status struct {
	ID      string
	Words   string
	Until   string // see Untils
	Effects []string
	Each    []Consequence // at the end of each turn of its owner
}

// Untils says how long a status lies on a unit: to the begin of its owner's next
// turn, to the end of the present turn, to the end of the battle, or until a
// consequence takes it away.
var Untils = []string{UntilOwnTurn, UntilTurnEnd, UntilBattleEnd, UntilRepaired, UntilRallied}

// How long a status lasts.
const (
	UntilOwnTurn   = "own turn"
	UntilTurnEnd   = "turn end"
	UntilBattleEnd = "battle end"
	UntilRepaired  = "repaired" // by the consequence repair
	UntilRallied   = "rallied"  // by the consequence clear status
)

func (l *loader) characteristic(r row) {
	l.pack.Characteristics = append(l.pack.Characteristics, Characteristic{
		ID: r.id, Words: r.words(), Kind: Trait(r.OneOf("kind", Traits)), Optional: r.Truth("optional", false),
	})
}

func (l *loader) keyword(r row) {
	l.pack.Keywords = append(l.pack.Keywords, Keyword{ID: r.id, Words: r.words(), Effects: l.names(r.Table, "effects", "effect")})
}

func (l *loader) status(r row) {
	l.pack.Statuses = append(l.pack.Statuses, Status{
		ID: r.id, Words: r.words(),
		Until:   r.OneOf("until", Untils),
		Effects: l.names(r.Table, "effects", "effect"),
		Each:    l.consequences(r.Table, "each_turn"),
	})
}

// profile reads a unit's values, in the order of the characteristics so that
// faults come in one order.
func (l *loader) profile(unit *source.Table, id string) Profile {
	t := unit.Inner("profile")
	if t == nil {
		return Profile{}
	}
	p := Profile{}
	for _, c := range l.pack.Characteristics {
		if t.Has(c.ID) {
			p[c.ID] = l.trait(t, c)
		} else if !c.Optional {
			unit.Fault("profile", reason.New("pack.profile", "unit", id, "characteristic", c.ID))
		}
	}
	t.Close()
	return p
}

func (l *loader) trait(t *source.Table, c Characteristic) Value {
	switch c.Kind {
	case Need:
		return Value{Need: l.need(t, c.ID)}
	case Amount:
		return Value{Amount: l.amount(t, c.ID)}
	case Inches:
		return Value{Number: t.Number(c.ID, 0, MostInches)}
	case Points:
		return Value{Number: t.Number(c.ID, 1, MostPoints)}
	case Marks:
		return Value{Marks: l.marks(t, c.ID)}
	}
	return Value{Number: t.Number(c.ID, 0, MostNumber)}
}

// marks reads where marks stand on what is crossed off: [3, 6].
func (l *loader) marks(t *source.Table, key string) []int {
	marks := t.Numbers(key, 1, MostWounds)
	for i := 1; i < len(marks); i++ {
		if marks[i] <= marks[i-1] {
			t.Fault(key, reason.New("pack.marks.falling", "key", key, "mark", marks[i], "before", marks[i-1]))
			return nil
		}
	}
	return marks
}
