package proof

import (
	"errors"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Errors of a draw that cannot be made now. A *Fault is the error for what
// would break a rule of the ledger.
var (
	ErrNoKey = errors.New("proof: no key is left: a new seal must be opened first")
	ErrUncut = errors.New("proof: the seal in use is not cut yet: the command must wait for a round")
)

// Draw is the dice of one entry to be, for the rules to roll, and what the
// entry has to hold about them.
type Draw struct {
	*dice.Stream
	part storage.Record // the members of the entry that belong to the dice
}

// Sealed gives the dice that the next command draws at once, with its seal's
// cut. It fails with ErrNoKey, ErrUncut or ErrSealLost, or a *Fault while a
// word is awaited.
func (b Book) Sealed(s Keys) (*Draw, error) {
	tip, n, cut, ok := b.InUse()
	if !ok {
		return nil, ErrNoKey
	}
	if err := b.mayCome(&storage.Record{Seal: tip}); err != nil {
		return nil, err
	}
	if cut == "" {
		return nil, ErrUncut
	}
	key, err := s.Key(tip, n)
	if err != nil {
		return nil, err
	}
	return &Draw{
		Stream: dice.NewStream(b.ledger, n, cut, key),
		part:   storage.Record{Seal: tip, Draw: n, Cut: cut, Key: key.String()},
	}, nil
}

// CutOf gives the dice of an entry that waits, once its cut is known: `none`,
// or the text of a beacon's or a word's cut.
func (b Book) CutOf(s Keys, of uint64, cut string) (*Draw, error) {
	p, ok := b.pending(of)
	if !ok {
		return nil, breaks(storage.RuleCut, "settled", "of", int64(of))
	}
	if p.Lost {
		return nil, breaks(storage.RuleSeal, "seal.lost")
	}
	d := &Draw{part: storage.Record{Cut: cut}}
	key, err := dice.ParseKey(p.Key)
	if p.Key == "" { // was secret: shown with the dice
		if key, err = s.Key(p.Seal, p.Draw); err == nil {
			d.part.Key = key.String()
		}
	}
	if err != nil {
		return nil, err
	}
	d.Stream = dice.NewStream(b.ledger, p.Draw, cut, key)
	return d, nil
}

// AgainOf gives the dice of an earlier entry once more, after its first so many.
func (b Book) AgainOf(a storage.Again) (*Draw, error) {
	d, err := b.stands(b.size, a)
	if err != nil {
		return nil, err
	}
	return &Draw{Stream: b.stream(d), part: storage.Record{Again: &a}}, nil
}

// DiceOf tells how many dice an entry drew, and by which command; false if it
// drew none, waits, or lies too far back for its dice to stand again.
func (b Book) DiceOf(seq uint64) (dice int, command string, ok bool) {
	d, ok := b.drawn.find(func(d *drawn) bool { return d.seq == seq })
	if !ok || b.size-seq > Reach {
		return 0, "", false
	}
	return d.runs.Count(), d.command, true
}

// Fill puts into an entry what its dice came to: seal, draw, cut, key and
// faces, or again and faces. The events are the rules' own. A draw of a seal
// that rolled no die is not spent: then Fill leaves the entry as it is.
func (d *Draw) Fill(rec *storage.Record) {
	if d.part.Seal != "" && d.Drawn() == 0 {
		return
	}
	rec.Seal, rec.Draw, rec.Cut, rec.Key, rec.Again = d.part.Seal, d.part.Draw, d.part.Cut, d.part.Key, d.part.Again
	rec.Faces = d.Faces()
	if rec.Events == nil {
		rec.Events = []storage.Object{}
	}
}

// Pend makes an entry wait for its own cut: it takes the next draw, and shows
// its key if it waits for a round. The entry has its time and player already.
func (b Book) Pend(s Keys, rec *storage.Record, wait storage.Wait) error {
	tip, n, _, ok := b.InUse()
	if !ok {
		return ErrNoKey
	}
	key, err := s.Key(tip, n)
	if err != nil {
		return err
	}
	filled := *rec
	filled.Seal, filled.Draw, filled.Wait, filled.Events = tip, n, &wait, nil
	if wait.By == "" {
		filled.Key = key.String()
	}
	filled.Seq = b.size
	if _, err := b.Follow(filled); err != nil {
		return err
	}
	filled.Seq = rec.Seq
	*rec = filled
	return nil
}

// Reveal puts the key of a waiting entry into the wait or void that is about
// it, if it was secret until now and may be shown.
func (b Book) Reveal(s Keys, of uint64, rec *storage.Record) error {
	p, ok := b.pending(of)
	if !ok {
		return breaks(RuleVoid, "settled", "of", int64(of))
	}
	if p.Key != "" || p.Lost {
		return nil
	}
	key, err := s.Key(p.Seal, p.Draw)
	if err == nil {
		rec.Key = key.String()
	}
	return err
}
