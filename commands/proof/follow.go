package proof

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"sync"
	"time"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// LongestWait is how far ahead the deadline for a player's word may lie.
const LongestWait = 24 * time.Hour

// Verify goes on by one entry and checks all that dice rest on: seals and
// their order, draws, keys, cuts, the signatures of rounds, every face. The
// error is a *Fault. What needs more than the dice (heads, times, sources,
// battles, what was opened) is checked by Check.
func (b Book) Verify(rec storage.Record) (Book, error) { return b.add(&rec, true) }

// Follow goes on by one entry of our own store. It checks all but what takes
// long and was true when the entry was made: the signature and the faces.
func (b Book) Follow(rec storage.Record) (Book, error) { return b.add(&rec, false) }

func (b Book) add(rec *storage.Record, full bool) (Book, error) {
	if err := b.mayCome(rec); err != nil {
		return b, err
	}
	err := b.take(rec, full)
	b.size = rec.Seq + 1
	return b, err
}

// take folds one entry. b is a copy of its own; what it points to is shared
// with the Book before and is never changed.
func (b *Book) take(rec *storage.Record, full bool) error {
	switch {
	case rec.Command == "ledger.open":
		return b.openLedger(rec)
	case rec.Command == "seal.open":
		return b.openSeal(rec)
	case rec.Command == "seal.cut":
		return b.cutSeal(rec, full)
	case rec.Command == "cut":
		return b.cut(rec, full)
	case rec.Command == "wait":
		return b.move(rec)
	case rec.Command == "void":
		return b.void(rec)
	case rec.Again != nil:
		return b.again(rec, full)
	case rec.Wait != nil:
		return b.pend(rec)
	case rec.Seal != "":
		return b.sealed(rec, full)
	}
	return nil
}

// mayCome refuses what has to wait for a cut: other entries of a battle that
// waits, and other draws while a key is secret until a word is in.
func (b *Book) mayCome(rec *storage.Record) error {
	switch rec.Command {
	case "cut", "wait", "void":
		return nil
	}
	if len(b.wait) == 0 {
		return nil
	}
	battle := battleIn(rec.Args)
	for _, p := range b.wait {
		if battle >= 0 && p.battle == battle {
			return breaks(RuleOrder, "frozen", "waits", int64(p.Seq))
		}
		if rec.Seal != "" && p.Round == 0 && !p.Lost {
			return breaks(RuleOrder, "awaited", "waits", int64(p.Seq))
		}
	}
	return nil
}

// openLedger takes the chain that cuts dice here. Who opens what is checked by Check.
func (b *Book) openLedger(rec *storage.Record) error {
	b.ledger = rec.Ledger.String()
	if value, ok := storage.Member(rec.Args, "chain"); ok {
		hash, _ := storage.Text(value)
		chain, known := chainOf(hash, b.known)
		if !known {
			return breaks(storage.RuleForm, "chain")
		}
		b.chain = chain
	}
	return nil
}

// draw finds the seal that an entry draws from, as it stands after that draw.
func (b *Book) draw(rec *storage.Record) (old, now *seal, err error) {
	s := b.inUse()
	switch {
	case s == nil:
		return nil, nil, breaks(storage.RuleSeal, "seal.none")
	case rec.Seal != s.tip:
		return nil, nil, breaks(storage.RuleSeal, "seal.other", "tip", s.tip)
	case rec.Draw != s.taken+1 || rec.Draw > s.length:
		return nil, nil, breaks(storage.RuleDraw, "draw", "draw", int64(rec.Draw), "next", int64(s.taken+1), "length", int64(s.length))
	case s.left() == 1 && b.next != nil && s != b.next && b.next.cut == "":
		return nil, nil, breaks(storage.RuleSeal, "seal.late")
	}
	next := *s
	next.taken++
	return s, &next, nil
}

// follows checks that a key is the one after the key shown before it.
func follows(hex string, before dice.Key) (dice.Key, error) {
	k, err := dice.ParseKey(hex)
	if err != nil || k.Before() != before {
		return k, breaks(storage.RuleKey, "key", "before", before.String())
	}
	return k, nil
}

// sealed is a draw with the seal's own cut.
func (b *Book) sealed(rec *storage.Record, full bool) error {
	old, now, err := b.draw(rec)
	if err != nil {
		return err
	}
	if now.cut == "" {
		return breaks(storage.RuleSeal, "seal.uncut", "round", int64(now.round))
	}
	key, err := follows(rec.Key, now.shown)
	if err != nil {
		return err
	}
	if rec.Cut != now.cut {
		return breaks(storage.RuleCut, "cut.seal", "cut", now.cut)
	}
	if len(rec.Faces) == 0 {
		return breaks(storage.RuleFaces, "faces.none")
	}
	now.shown = key
	b.put(old, now)
	return b.dice(rec, drawn{seq: rec.Seq, command: rec.Command, battle: battleIn(rec.Args), key: key, draw: rec.Draw, cut: now.cut}, full)
}

// dice checks the faces of an entry and remembers where they come from.
func (b *Book) dice(rec *storage.Record, d drawn, full bool) error {
	d.runs = dice.RunsOf(rec.Faces)
	d.command = named(d.command)
	if full {
		if err := b.derive(rec, d); err != nil {
			return err
		}
	}
	b.remember(d)
	return nil
}

// named is a command's name that holds no entry's text.
func named(command string) string {
	if command == "roll" {
		return "roll" // nearly all are
	}
	return strings.Clone(command)
}

// streams are used again for one entry after the other.
var streams = sync.Pool{New: func() any { return new(dice.Stream) }}

// derive draws the dice once more and compares every face.
func (b *Book) derive(rec *storage.Record, d drawn) error {
	s := streams.Get().(*dice.Stream)
	defer streams.Put(s)
	s.Begin(b.ledger, d.draw, d.cut, d.key)
	s.Seek(d.at)
	die, face := s.Held(rec.Faces)
	if die < 0 {
		return nil
	}
	at := die
	for _, run := range rec.Faces {
		if at < len(run)-1 {
			return breaks(storage.RuleFaces, "faces", "die", int64(die+1), "sides", int64(run[0]), "shown", int64(run[at+1]), "face", int64(face))
		}
		at -= len(run) - 1
	}
	return nil
}

// stream gives the dice of an entry, from where its own begin.
func (b *Book) stream(d drawn) *dice.Stream {
	s := dice.NewStream(b.ledger, d.draw, d.cut, d.key)
	s.Seek(d.at)
	return s
}

// pend is an entry that takes its draw and waits for a cut of its own.
func (b *Book) pend(rec *storage.Record) error {
	old, now, err := b.draw(rec)
	if err != nil {
		return err
	}
	p := Pending{Seq: rec.Seq, Player: rec.Player, Command: rec.Command, Seal: rec.Seal, Draw: rec.Draw,
		Round: rec.Wait.Round, By: rec.Wait.By, Until: rec.Wait.Until, battle: battleIn(rec.Args), before: now.shown}
	if p.By != "" {
		err = mayCut(p, rec.Time)
	} else {
		err = b.show(rec, &p, now)
	}
	if err != nil {
		return err
	}
	b.put(old, now)
	b.wait = append(slices.Clone(b.wait), p)
	return nil
}

// mayCut checks who may be asked for a word, and until when.
func mayCut(p Pending, now time.Time) error {
	switch {
	case p.By == p.Player:
		return breaks(RuleWait, "wait.self", "by", reason.Person(p.By))
	case p.Until.Before(now) || p.Until.Sub(now) > LongestWait:
		return breaks(RuleWait, "wait.until")
	}
	return nil
}

// show checks the key of an entry that waits for a round, and the round.
func (b *Book) show(rec *storage.Record, p *Pending, s *seal) error {
	if err := b.ahead(rec); err != nil {
		return err
	}
	key, err := follows(rec.Key, p.before)
	if err != nil {
		return err
	}
	p.Key, s.shown = rec.Key, key
	return nil
}

// ahead checks the round that an entry waits for.
func (b *Book) ahead(rec *storage.Record) error {
	if b.chain == nil {
		return breaks(RuleWait, "wait.chain")
	}
	if !b.chain.Ahead(rec.Wait.Round, rec.Time) {
		return breaks(RuleRound, "round", "round", int64(rec.Wait.Round))
	}
	return nil
}

// again gives the dice of an earlier entry once more.
func (b *Book) again(rec *storage.Record, full bool) error {
	d, err := b.stands(rec.Seq, *rec.Again)
	if err != nil {
		return err
	}
	if d.command != rec.Command || d.battle != battleIn(rec.Args) {
		return breaks(RuleAgain, "again.other", "of", int64(d.seq))
	}
	d.seq = rec.Seq
	return b.dice(rec, d, full)
}

// stands finds the dice that stand again in entry seq, from where they begin.
func (b *Book) stands(seq uint64, a storage.Again) (drawn, error) {
	if a.Of >= seq || seq-a.Of > Reach {
		return drawn{}, breaks(RuleAgain, "again.far", "of", int64(a.Of), "reach", int64(Reach))
	}
	found, ok := b.drawn.find(func(d *drawn) bool { return d.seq == a.Of })
	if !ok {
		return drawn{}, breaks(RuleAgain, "again.none", "of", int64(a.Of))
	}
	d := *found
	first, ok := d.runs.First(a.After)
	if !ok {
		return drawn{}, breaks(RuleAgain, "again.after", "after", int64(a.After), "dice", int64(d.runs.Count()), "of", int64(a.Of))
	}
	s := b.stream(d)
	s.Skip(first)
	d.at = s.At()
	return d, nil
}

// randomness of a signature that is not checked.
func randomnessOf(signature string) string {
	raw, _ := hex.DecodeString(signature)
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}
