package proof

import (
	"encoding/json"
	"errors"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Replayed is the Replay of the whole house: it folds the ledger as it goes and
// lets the rules decide every command once more, on the recorded dice.
type Replayed struct {
	game    Game
	waiting map[uint64]Command // pending entries, whose command is decided at their cut
	lost    map[string]error   // rooms whose state is not known for want of a file
}

// NewReplay begins before the first entry. files gives the packs that the
// ledger pins; nil has none.
func NewReplay(files Files) *Replayed {
	return &Replayed{game: NewGame(files), waiting: map[uint64]Command{}, lost: map[string]error{}}
}

// Entry decides one recorded entry again and goes on with the recorded events.
func (r *Replayed) Entry(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
	c, err := r.command(rec)
	if err != nil {
		return nil, err
	}
	if rec.Wait != nil && rec.Command != "wait" {
		r.waiting[rec.Seq] = c
		return nil, nil
	}
	owner, err := room(c.Name)
	if err != nil {
		return nil, err
	}
	if owner != nil && r.lost[owner.Name()] != nil {
		return nil, r.lost[owner.Name()]
	}
	events, err := r.game.Decide(c, d)
	if err == nil {
		r.game, err = r.game.Apply(c, rec.Events)
	}
	var missing *MissingFile
	if errors.As(err, &missing) && owner != nil {
		r.lost[owner.Name()] = err
	}
	return events, err
}

// command is what an entry asks the rules: its own command, or at a cut the one
// that waited.
func (r *Replayed) command(rec storage.Record) (Command, error) {
	c, err := CommandOf(rec)
	if err != nil || rec.Command != "cut" {
		return c, err
	}
	var args struct {
		Of uint64 `json:"of"`
	}
	if err := json.Unmarshal(rec.Args, &args); err != nil {
		return c, err
	}
	waited, ok := r.waiting[args.Of]
	if !ok {
		return c, nil
	}
	delete(r.waiting, args.Of)
	waited.Opened = c.Opened
	return waited, nil
}
