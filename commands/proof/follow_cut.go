package proof

import (
	"strings"
	"time"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// cut resolves an entry that waits: a round is out, the word is in, or neither
// can come.
func (b *Book) cut(rec *storage.Record, full bool) error {
	p, err := b.waiting(rec, storage.RuleCut, "of", "signature", "word", "battle")
	if err != nil {
		return err
	}
	signature, round := storage.Member(rec.Args, "signature")
	word, typed := storage.Member(rec.Args, "word")
	switch {
	case round && !typed:
		err = b.cutByRound(rec, p, signature, full)
	case typed && !round:
		err = b.cutByWord(rec, p, word)
	case !round && !typed:
		err = b.cutByNone(rec, p)
	default:
		err = breaks(storage.RuleForm, "cut.both")
	}
	if err != nil {
		return err
	}
	key, err := b.reveal(rec, p)
	if err != nil {
		return err
	}
	b.settle(p.Seq)
	return b.dice(rec, drawn{seq: p.Seq, command: p.Command, battle: p.battle, key: key, draw: p.Draw, cut: strings.Clone(rec.Cut)}, full)
}

// waiting finds the entry that a cut, wait or void is about, and refuses args
// other than those named.
func (b *Book) waiting(rec *storage.Record, rule string, args ...string) (Pending, error) {
	if err := only(rec.Args, args...); err != nil {
		return Pending{}, err
	}
	of, ok := numberIn(rec.Args, "of")
	if !ok {
		return Pending{}, breaks(storage.RuleForm, "args", "member", "of")
	}
	p, ok := b.pending(of)
	if !ok {
		return p, breaks(rule, "settled", "of", int64(of))
	}
	return p, nil
}

func (b *Book) cutByRound(rec *storage.Record, p Pending, arg storage.Object, full bool) error {
	if p.Round == 0 {
		return breaks(storage.RuleCut, "cut.word", "by", reason.Person(p.By))
	}
	randomness, err := b.round(p.Round, rec.Time, arg, full)
	if err != nil {
		return err
	}
	if want := beacon.Cut(p.Round, randomness); rec.Cut != want {
		return breaks(storage.RuleCut, "cut.other", "cut", want)
	}
	return nil
}

// round checks the signature of a round and that it was due; it gives the
// round's randomness.
func (b *Book) round(round uint64, now time.Time, arg storage.Object, full bool) (string, error) {
	if now.Before(b.chain.Due(round)) {
		return "", breaks(RuleRound, "round.early", "round", int64(round))
	}
	signature, ok := storage.Text(arg)
	if !ok {
		return "", breaks(RuleSignature, "signature", "round", int64(round))
	}
	if !full {
		return randomnessOf(signature), nil
	}
	randomness, err := b.chain.Verify(round, signature)
	if err != nil {
		return "", breaks(RuleSignature, "signature", "round", int64(round))
	}
	return randomness, nil
}

func (b *Book) cutByWord(rec *storage.Record, p Pending, arg storage.Object) error {
	hash, ok := storage.Text(arg)
	switch {
	case p.Round != 0:
		return breaks(storage.RuleCut, "cut.round", "round", int64(p.Round))
	case rec.Player != p.By:
		return breaks(storage.RuleCut, "cut.by", "by", reason.Person(p.By))
	case rec.Time.After(p.Until):
		return breaks(storage.RuleCut, "cut.late")
	case !ok || rec.Cut != "word:"+hash:
		return breaks(storage.RuleCut, "cut.differs")
	case b.WordUsed(hash):
		return breaks(storage.RuleCut, "cut.used", "reach", int64(Reach))
	}
	b.words = b.words.add(usedWord{seq: rec.Seq, hash: hash}, func(w usedWord) bool { return b.size-w.seq > Reach })
	return nil
}

// cutByNone is the way out where there is no beacon and the word never came.
func (b *Book) cutByNone(rec *storage.Record, p Pending) error {
	if p.Round != 0 || b.chain != nil || rec.Player != storage.Bot || rec.Time.Before(p.Until) || rec.Cut != NoCut {
		return breaks(storage.RuleCut, "cut.none")
	}
	return nil
}

// reveal gives the key of an entry that waits; if it was secret it is shown
// now, and only then.
func (b *Book) reveal(rec *storage.Record, p Pending) (dice.Key, error) {
	if p.Key != "" {
		if rec.Key != "" {
			return dice.Key{}, breaks(storage.RuleForm, "key.twice")
		}
		return dice.ParseKey(p.Key)
	}
	if p.Lost {
		return dice.Key{}, breaks(storage.RuleSeal, "seal.lost")
	}
	if rec.Key == "" {
		return dice.Key{}, breaks(storage.RuleForm, "key.hidden")
	}
	key, err := follows(rec.Key, p.before)
	if err != nil {
		return key, err
	}
	shown := *b.seal // nothing was drawn since, so it is the seal in use
	shown.shown = key
	b.seal = &shown
	return key, nil
}

// move makes a waiting entry wait for a (later) round.
func (b *Book) move(rec *storage.Record) error {
	p, err := b.waiting(rec, RuleWait, "of", "why", "battle")
	if err != nil {
		return err
	}
	if err := why(rec.Args); err != nil {
		return err
	}
	switch {
	case p.Round != 0 && rec.Wait.Round <= p.Round:
		return breaks(RuleWait, "wait.earlier", "round", int64(p.Round))
	case p.Round == 0 && rec.Time.Before(p.Until):
		return breaks(RuleWait, "wait.early")
	}
	if err := b.ahead(rec); err != nil {
		return err
	}
	if _, err := b.reveal(rec, p); err != nil {
		return err
	}
	if p.Key == "" {
		p.Key = rec.Key
	}
	p.Round, p.By, p.Until = rec.Wait.Round, "", time.Time{}
	b.replace(p)
	return nil
}

// void ends a waiting entry without dice.
func (b *Book) void(rec *storage.Record) error {
	p, err := b.waiting(rec, RuleVoid, "of", "why", "battle")
	if err != nil {
		return err
	}
	if err := why(rec.Args); err != nil {
		return err
	}
	if p.Lost {
		if rec.Key != "" {
			return breaks(storage.RuleForm, "seal.lost")
		}
	} else if _, err := b.reveal(rec, p); err != nil {
		return err
	}
	b.settle(p.Seq)
	return nil
}

// why asks for the reason that a wait and a void give.
func why(args storage.Object) error {
	value, ok := storage.Member(args, "why")
	if _, text := storage.Text(value); !ok || !text {
		return breaks(storage.RuleForm, "args", "member", "why")
	}
	return nil
}
