package proof

import (
	"drumhead/engine/battle"
	"drumhead/storage"
)

// Again tells whose dice stand again in a command: what was undone and is given
// once more in the same turn has the dice that it had, and draws none. nil for a
// command that draws dice of its own.
func (g Game) Again(c Command) *storage.Again {
	if c.Name != battle.CommandOrder && c.Name != battle.CommandPass {
		return nil
	}
	do, err := battle.ParseDo(c.Name, c.Args)
	if err != nil {
		return nil // Check says what is wrong with it
	}
	s, ok := BattlesOf(g).Begun[battleAsked(c)]
	if !ok {
		return nil
	}
	of, after, ok := s.Again(do)
	if !ok || c.Seq-of > Reach {
		return nil
	}
	return &storage.Again{Of: of, After: after}
}

// standsRight holds an entry's `again` against what was undone: dice stand again
// where they must, and nowhere else.
func (r *Replayed) standsRight(rec storage.Record) error {
	if rec.Command == "cut" || r.lost[Battling{}.Name()] != nil {
		return nil
	}
	c, err := CommandOf(rec)
	if err != nil {
		return err
	}
	must := r.game.Again(c)
	switch {
	case must == nil && rec.Again == nil, must != nil && rec.Again != nil && *must == *rec.Again:
		return nil
	case must == nil:
		return breaks(RuleAgain, "again.unasked", "of", int64(rec.Again.Of))
	}
	return breaks(RuleAgain, "again.must", "of", int64(must.Of), "after", int64(must.After))
}
