package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Told is one roll of an order as it is explained: what was rolled, why just
// that, and what the dice showed.
type Told struct {
	Line   int    // of the sheet, from 1; 0 outside a sheet
	What   Rolled // what was rolled
	Unit   string
	At     string
	Weapon string
	Power  string
	Why    []reason.Reason // see rules.Pack: Compile, Charge, Casting, Morale
	Attack attack.Attack   // AnAttack
	Result attack.Result
	Total  attack.Total // the others; unjudged for a run and for suffering
	Sum    attack.Sum
	Cast   Casting // ACast

	Volley  rules.Volley // AVolley
	Pools   attack.VolleyRolled
	Looked  rules.Looked   // ALook, with Sum
	Stakes  []Stake        // of an assault: who may lose something, as it was before
	Opposed attack.Opposed // AContest
	Bouts   []attack.Bout
	Pool    attack.Pool // AMending
	Rolled  attack.Rolled

	Opened *Opened // the standing order that changed it, if one did
	Event  Event   // what came of it
}

// Casting is what a casting roll was made with: the power as compiled, the wounds
// that the caster had left, and whether an enemy could counter.
type Casting struct {
	Compiled rules.Casting
	Wounds   int
	Opposed  bool
}

// Rolled names what was rolled.
type Rolled string

// What can be rolled.
const (
	AnAttack  Rolled = "attack"
	ACharge   Rolled = "charge"
	ACast     Rolled = "cast"
	ACounter  Rolled = "counter"
	AMorale   Rolled = "morale"
	ARun      Rolled = "run"
	Suffering Rolled = "suffering"
	AVolley   Rolled = "volley"
	ALook     Rolled = "look"
	AContest  Rolled = "contest"
	ATest     Rolled = "test"
	AMending  Rolled = "mending"
	AWind     Rolled = "wind"
)

// tell adds to the story of the present line.
func (r *run) tell(t Told) {
	t.Line = r.line
	r.told = append(r.told, t)
}

// amount is an amount as it was rolled, told as a total that nothing judges.
func amount(a attack.Amount, faces []int, sum int) (attack.Total, attack.Sum) {
	t, s := attack.Total{Plus: a.Plus}, attack.Sum{Total: sum}
	if a.Dice > 0 {
		t.Terms = []attack.Term{{Dice: a.Dice, Sides: a.Sides}}
		s.Terms = []attack.TermRolled{{Dice: faces}}
	}
	return t, s
}
