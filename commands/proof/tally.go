package proof

import (
	"errors"
	"time"

	"drumhead/engine/battle"
	"drumhead/engine/dice"
	"drumhead/engine/luck"
	"drumhead/storage"
)

// Rest is how long the dice of a place lie still between two evenings.
const Rest = 6 * time.Hour

// Span is whose entries are counted: those of one battle, of the newest evening,
// or (the zero value) all of a ledger. An evening goes on until the dice have
// rested. Nobody picks where counting begins: from a roll on that somebody
// remembers, any luck looks odd.
type Span struct {
	Battle  uint64 // the entry with which a battle began; 0 for none
	Evening bool
}

// Tallies counts the dice of a ledger by whose they are. Every die counts once,
// where it first fell, whatever became of it:
//   - a re-rolled die counts with both its faces, each against the same need;
//   - a save belongs to whoever rolls it, in a battle the owner of the target;
//   - a die that was not needed was not rolled and does not exist;
//   - dice that stand again after an undo were counted when they fell.
type Tallies struct {
	By map[string]*luck.Tally // pseudonym → their dice

	span  Span
	game  Game
	begin time.Time // of the first and the newest dice counted
	end   time.Time
}

// NewTallies begins before the first entry of a ledger.
func NewTallies(files Files, s Span) *Tallies {
	return &Tallies{By: map[string]*luck.Tally{}, span: s, game: NewGame(files)}
}

// Entry counts the dice of the next entry and goes on.
func (t *Tallies) Entry(rec storage.Record) error {
	c, then, err := t.game.answered(rec)
	if err != nil {
		return err
	}
	if len(rec.Faces) > 0 && t.within(c, rec.Time) {
		if err := t.count(rec, c, then); err != nil {
			return err
		}
	}
	t.game, err = t.game.Take(rec)
	return err
}

// All is everybody's dice together.
func (t *Tallies) All() *luck.Tally {
	all := &luck.Tally{}
	for _, one := range t.By {
		all.Add(one)
	}
	return all
}

// When is when the first and the newest dice that were counted fell; zero
// without any.
func (t *Tallies) When() (first, last time.Time) { return t.begin, t.end }

// within tells whether an entry's dice count, and begins a new evening.
func (t *Tallies) within(c Command, at time.Time) bool {
	switch {
	case t.span.Battle > 0 && c.Seq != t.span.Battle && (!Battling{}.Owns(c.Name) || battleAsked(c) != t.span.Battle):
		return false
	case t.span.Evening && at.Sub(t.end) >= Rest:
		t.By, t.begin = map[string]*luck.Tally{}, time.Time{}
	}
	if t.end = at; t.begin.IsZero() {
		t.begin = at
	}
	return true
}

// of is the tally of a player.
func (t *Tallies) of(player string) thrower {
	if t.By[player] == nil {
		t.By[player] = &luck.Tally{}
	}
	return thrower{t.By[player]}
}

func (t *Tallies) count(rec storage.Record, c Command, then Game) error {
	switch {
	case rec.Again != nil:
		return nil
	case Rolling{}.Owns(c.Name):
		return t.roll(rec, c)
	case c.Name == battle.CommandBegin:
		return t.rollOff(rec)
	case Battling{}.Owns(c.Name):
		return t.order(rec, c, then)
	}
	return errors.New("proof: dice of a command that rolls none: " + c.Name)
}

// rollOff counts each side's dice of the roll-off.
func (t *Tallies) rollOff(rec storage.Record) error {
	for _, e := range rec.Events {
		parsed, err := battle.ParseEvent(e)
		if err != nil {
			return err
		}
		begun, ok := parsed.(*battle.Begun)
		if !ok {
			continue
		}
		for _, round := range begun.Rolls {
			for side, face := range round {
				t.of(begun.Players[side]).plain(rec.Faces[0][0], face)
			}
		}
	}
	return nil
}

// order decides an entry of a battle again on its own dice, from the state on
// which it was given: only so is it known what each of them needed.
func (t *Tallies) order(rec storage.Record, c Command, then Game) error {
	var story []battle.Told
	err := dice.Try(func() (err error) {
		_, story, err = Battling{}.Tell(then, c, dice.NewShown(rec.Faces))
		return err
	})
	if err != nil {
		return err
	}
	s := BattlesOf(then).Begun[battleAsked(c)]
	for _, told := range story {
		mine := t.of(ownerOf(s, told.Unit))
		switch told.What {
		case battle.AnAttack:
			mine.attack(t.of(ownerOf(s, told.At)), told.Attack, told.Result)
		case battle.AVolley, battle.AMending, battle.AContest, battle.ALook:
			mine.tabled(t.of(ownerOf(s, told.At)), told)
		default:
			mine.judged(told.Total, told.Sum)
		}
	}
	return nil
}

// ownerOf is the player of a unit.
func ownerOf(s battle.State, id string) string {
	u, _ := s.Unit(id)
	return s.Players[u.Side]
}

// tabled counts the dice of games with pools, tables and opposed rolls.
func (t thrower) tabled(target thrower, told battle.Told) {
	switch told.What {
	case battle.AVolley:
		pools, rolled := told.Volley.Pools, told.Pools
		t.tries(luck.Attacks, pools.Mine.Step, rolled.Pools.Mine.Dice, rolled.Pools.Mine.Again)
		target.tries(luck.Saves, pools.Theirs.Step, rolled.Pools.Theirs.Dice, rolled.Pools.Theirs.Again)
		t.plain(told.Volley.Damage.Sides, rolled.Damage...)
		for _, c := range rolled.Hull.Criticals { // its look at the table is told by itself
			for _, amount := range told.Volley.Hull.More[c.Result] {
				t.plain(amount.Sides, c.Dice[:amount.Dice]...)
				c.Dice = c.Dice[amount.Dice:]
			}
		}
	case battle.AMending:
		t.tries(luck.Tests, told.Pool.Step, told.Rolled.Dice, told.Rolled.Again)
	case battle.AContest:
		for _, bout := range told.Bouts {
			t.judged(told.Opposed.Mine, bout.Mine)
			target.judged(told.Opposed.Theirs, bout.Theirs)
		}
	case battle.ALook:
		t.judged(told.Looked.Roll.Dice, told.Sum)
	}
}
