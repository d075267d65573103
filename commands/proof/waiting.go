package proof

import (
	"encoding/json"
	"maps"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Waiting is a command whose entry waits for its cut: what was asked, and the
// rooms as they stood then. Its outcome is decided on that state, whatever
// happens elsewhere meanwhile.
type Waiting struct {
	Command
	rooms map[string]any
}

// begins tells whether an entry is a command that begins to wait for its cut.
func begins(rec storage.Record) bool { return rec.Wait != nil && rec.Command != "wait" }

// Take folds one entry, whatever it is: the events of a command, a command that
// begins to wait, or what becomes of one that waited.
func (g Game) Take(rec storage.Record) (Game, error) {
	c, err := CommandOf(rec)
	if err != nil {
		return g, err
	}
	switch {
	case rec.Command == "cut":
		return g.takeCut(c, rec.Events)
	case rec.Command == "void":
		of, _ := numberIn(rec.Args, "of")
		next := g.without(of)
		next.Size = rec.Seq + 1
		return next, nil
	case begins(rec):
		next := g
		next.Size = rec.Seq + 1
		next.Waiting = maps.Clone(g.Waiting)
		if next.Waiting == nil {
			next.Waiting = map[uint64]Waiting{}
		}
		next.Waiting[rec.Seq] = Waiting{Command: c, rooms: g.Rooms}
		return next, nil
	}
	return g.Apply(c, rec.Events)
}

// takeCut folds the outcome of a command that waited.
func (g Game) takeCut(cut Command, events []storage.Object) (Game, error) {
	waited, ok := g.cutting(cut)
	next := g.without(waited.Seq)
	next.Size = cut.Seq + 1
	if !ok {
		return next, nil // the book says what is wrong with it
	}
	waited.Opened, waited.Fell = cut.Opened, cut.Fell
	next, err := next.Apply(waited.Command, events)
	next.Size = cut.Seq + 1
	return next, err
}

// cutting finds the command that a cut is about.
func (g Game) cutting(cut Command) (Waiting, bool) {
	var args struct {
		Of uint64 `json:"of"`
	}
	if err := json.Unmarshal(cut.Args, &args); err != nil {
		return Waiting{}, false
	}
	w, ok := g.Waiting[args.Of]
	return w, ok
}

// without is the game with one command less that waits.
func (g Game) without(seq uint64) Game {
	next := g
	if _, ok := g.Waiting[seq]; ok {
		next.Waiting = maps.Clone(g.Waiting)
		delete(next.Waiting, seq)
	}
	return next
}

// DecideCut gives the events of a command that waited, with the dice of its cut
// and on the state on which it was given. opened are the sealed values that may
// act in it.
func (g Game) DecideCut(of uint64, opened []Opened, d dice.Drawer) ([]storage.Object, error) {
	w, ok := g.Waiting[of]
	if !ok {
		return nil, breaks(storage.RuleCut, "settled", "of", int64(of))
	}
	w.Opened = opened
	return g.then(w).Decide(w.Command, d)
}

// then is the state on which a command that waited was given.
func (g Game) then(w Waiting) Game {
	g.Rooms, g.Waiting = w.rooms, nil
	return g
}

// answered is the command whose dice and events an entry holds, and the state on
// which it is decided: its own, or at a cut those of the command that waited.
func (g Game) answered(rec storage.Record) (Command, Game, error) {
	c, err := CommandOf(rec)
	if err != nil || rec.Command != "cut" {
		return c, g, err
	}
	w, ok := g.cutting(c)
	if !ok {
		return c, g, nil
	}
	w.Opened = c.Opened
	return w.Command, g.then(w), nil
}
