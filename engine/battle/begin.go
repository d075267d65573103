package battle

import (
	"slices"

	"drumhead/engine/attack"
)

// rollOff is one die a side.
var rollOff = attack.Amount{Dice: 1, Sides: 6}

// mostRollOffs is how often a tied roll-off is rolled again; after that the
// side that was offered the battle goes first.
const mostRollOffs = 20

// RollOff is the chance of each side to move first: of ties to the end the side
// that was offered the battle has the turn.
func RollOff() (one, two float64) {
	die := attack.Total{Terms: []attack.Term{{Dice: rollOff.Dice, Sides: rollOff.Sides}}}
	w, err := attack.Opposed{Mine: die, Theirs: die}.Solve()
	if err != nil {
		return 0, 0
	}
	tied := 1.0
	for range mostRollOffs {
		one, two, tied = one+tied*w.Mine, two+tied*w.Theirs, tied*w.Tie
	}
	return one, two + tied
}

func checkBegin(s State, b Begin) error {
	if s.Stage != Unborn {
		return refuse("battle.refuse.begun")
	}
	if err := CheckTerms(s.Pack, b.Terms); err != nil {
		return err
	}
	if len(b.Players) != 2 || len(b.Forces) != 2 || b.Players[0] == b.Players[1] || b.Players[0] == "" || b.Players[1] == "" {
		return refuse("battle.refuse.two")
	}
	for _, force := range b.Forces {
		if err := checkForce(s, force); err != nil {
			return err
		}
	}
	return nil
}

func checkForce(s State, force []Model) error {
	if len(force) == 0 || len(force) > MaxUnits {
		return refuse("battle.refuse.units", "units", len(force), "most", MaxUnits)
	}
	for _, m := range force {
		u := s.Pack.Unit(m.Kind)
		if u == nil {
			return refuse("battle.refuse.kind", "kind", m.Kind)
		}
		if m.Size < u.Least || m.Size > u.Most {
			return refuse("battle.refuse.size", "unit", u.Title, "size", m.Size, "least", u.Least, "most", u.Most)
		}
		if m.Grade != "" && !slices.Contains(s.Pack.Grades, m.Grade) {
			return refuse("battle.refuse.grade", "grade", m.Grade, "grades", s.Pack.Grades)
		}
	}
	return nil
}

// begin rolls off: the higher die has the first turn, a tie is rolled again.
func (r *run) begin(b Begin) {
	e := &Begun{Players: b.Players, Terms: b.Terms, Forces: b.Forces, First: 1}
	for range mostRollOffs {
		_, mine := rollOff.Roll(r.drawer)
		_, theirs := rollOff.Roll(r.drawer)
		e.Rolls = append(e.Rolls, []int{mine, theirs})
		if mine == theirs {
			continue
		}
		if mine > theirs {
			e.First = 0
		}
		break
	}
	r.emit(e)
}
