package proof

import (
	"errors"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Replayed is the Replay of the whole house: it folds the ledger as it goes and
// lets the rules decide every command once more, on the recorded dice.
type Replayed struct {
	game Game
	lost map[string]error // rooms whose state is not known for want of a file
}

// NewReplay begins before the first entry. files gives the packs that the
// ledger pins; nil has none.
func NewReplay(files Files) *Replayed {
	return &Replayed{game: NewGame(files), lost: map[string]error{}}
}

// Entry decides one recorded entry again and goes on with the recorded events.
func (r *Replayed) Entry(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
	if err := r.standsRight(rec); err != nil {
		return nil, err
	}
	if begins(rec) {
		var err error
		r.game, err = r.game.Take(rec)
		return nil, err
	}
	c, then, err := r.game.answered(rec)
	if err != nil {
		return nil, err
	}
	owner, err := room(c.Name)
	if err != nil {
		return nil, err
	}
	if owner != nil && r.lost[owner.Name()] != nil {
		return nil, r.lost[owner.Name()]
	}
	events, err := then.Decide(c, d)
	if err == nil {
		r.game, err = r.game.Take(rec)
	}
	var missing *MissingFile
	if errors.As(err, &missing) && owner != nil {
		r.lost[owner.Name()] = err
	}
	return events, err
}
