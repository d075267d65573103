package proof

import (
	"fmt"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// Step is one of the checks that prove a roll.
type Step struct {
	Good bool
	What reason.Reason // a sentence of the catalogue, in proof.step
}

// Proof says how one entry's dice stand: as values, and as files that a
// stranger can check without the bot.
type Proof struct {
	Seq     uint64          // the entry asked for
	Command *storage.Record // the entry of the command
	Cut     *storage.Record // the later entry with its dice; nil if they stand in the command's own, or are not there yet
	Waits   bool            // it still waits for its cut
	Code    string          // first 16 hex digits of the command's leaf hash
	Dice    int
	Steps   []Step
	Fault   *Fault // the first thing wrong in the ledger up to the dice, nil if nothing is

	File        []byte // the proof file of the dice's entry; nil without a checkpoint over it
	PendingFile []byte // that of the command's entry, if the dice stand in a later one
}

// Good tells whether every check came out well.
func (p Proof) Good() bool {
	for _, s := range p.Steps {
		if !s.Good {
			return false
		}
	}
	return p.Fault == nil
}

// ProveEntry checks one entry of a ledger, now: its key against the key shown
// before it, the heads of all entries up to it, its cut, every face, and the
// signed checkpoint. lines are all entries of the ledger; signed is a
// checkpoint over some of them, or nil. Signatures and faces of other entries
// are passed over, so that it stays quick; Check does the whole. The number of
// a cut proves the entry that it cuts.
// known are chains that the reader knows besides those of the program.
func ProveEntry(lines [][]byte, seq uint64, signed []byte, known ...*beacon.Chain) (Proof, error) {
	if seq >= uint64(len(lines)) {
		return Proof{}, fmt.Errorf("proof: entry %d of a ledger of %d", seq, len(lines))
	}
	p, err := newProver(lines, seq)
	if err != nil {
		return Proof{}, err
	}
	opt := Options{Chains: known,
		skim: func(seq uint64) bool { return seq != p.command.Seq && seq != p.last },
		seen: func(rec storage.Record, _ storage.Hash, before Book) {
			if rec.Seq == p.command.Seq {
				p.before = before
			}
		},
	}
	if signed != nil {
		opt.Checkpoints = [][]byte{signed}
	}
	p.report = Check(lines, opt)
	if p.report.Size <= p.command.Seq {
		p.before = p.report.stands
	}
	p.steps()
	return p.proof, p.files(lines, signed)
}

// prover gathers what a proof needs.
type prover struct {
	proof   Proof
	command storage.Record
	dice    *storage.Record // the entry that holds the dice; nil if there are none (yet)
	last    uint64          // the last entry that the dice rest on
	before  Book            // as it stood before the command's entry
	report  Report
}

// newProver finds the entry of the command and that of its dice.
func newProver(lines [][]byte, seq uint64) (*prover, error) {
	rec, err := storage.Parse(lines[seq])
	if err != nil {
		return nil, faultAt(int64(seq), err)
	}
	if of, ok := numberIn(rec.Args, "of"); ok && of < seq && rec.Command == "cut" {
		if rec, err = storage.Parse(lines[of]); err != nil {
			return nil, faultAt(int64(of), err)
		}
	}
	p := &prover{command: rec, last: rec.Seq}
	p.proof.Seq, p.proof.Command = rec.Seq, &p.command
	p.proof.Code = storage.LeafHash(lines[rec.Seq]).String()[:16]
	if rec.Wait != nil {
		p.findCut(lines)
	} else if rec.Faces != nil {
		p.dice = &p.command
	}
	return p, nil
}

// findCut looks for what became of an entry that waited.
func (p *prover) findCut(lines [][]byte) {
	for _, line := range lines[p.command.Seq+1:] {
		rec, err := storage.Parse(line)
		if err != nil {
			return // Check will say so
		}
		of, ok := numberIn(rec.Args, "of")
		if !ok || of != p.command.Seq {
			continue
		}
		switch rec.Command {
		case "cut":
			p.dice, p.proof.Cut, p.last = &rec, &rec, rec.Seq
			return
		case "void":
			p.last = rec.Seq
			return
		}
	}
	p.proof.Waits = true
}

// step adds a check; a bad one has a sentence of its own.
func (p *prover) step(good bool, id string, pairs ...any) {
	if !good {
		id += "-wrong"
	}
	p.proof.Steps = append(p.proof.Steps, Step{Good: good, What: reason.New("proof.step."+id, pairs...)})
}

// steps makes the checks, in an order that one can follow.
func (p *prover) steps() {
	f := p.report.Fault
	if f != nil && f.Entry <= int64(p.last) {
		p.proof.Fault = f // at the end: the checkpoint
	}
	broken := int64(AtEnd)
	if p.proof.Fault != nil {
		broken = f.Entry
	}
	if key := p.key(); key != "" {
		p.keyStep(key)
	}
	if p.proof.Cut != nil {
		p.step(broken == AtEnd || broken >= int64(p.last), "stood", "code", p.proof.Code, "cut", p.cut())
	}
	if p.dice != nil {
		p.proof.Dice = dice.RunsOf(p.dice.Faces).Count()
		p.step(broken != int64(p.last) && p.derives(), "faces", "cut", p.cut(), "dice", int64(p.proof.Dice))
	}
	p.step(broken == AtEnd, "heads", "entry", broken)
	p.covered()
}

// covered is the check against the signed checkpoint, if one was given.
func (p *prover) covered() {
	if len(p.report.notes) == 0 {
		return
	}
	n := p.report.notes[0]
	good := n.err == nil && n.reached && n.root == n.checkpoint.Root && n.checkpoint.Size > p.last
	p.step(good, "checkpoint", "size", int64(n.checkpoint.Size))
}

// key is the key that the dice come from, as the ledger shows it.
func (p *prover) key() string {
	if p.command.Key == "" && p.dice != nil {
		return p.dice.Key
	}
	return p.command.Key
}

// keyStep hashes the key back to the tip of its seal, as many times as the
// draw's number says; on the way stands the key that was shown before it.
func (p *prover) keyStep(hex string) {
	key, err := dice.ParseKey(hex)
	before := key.Before()
	for range p.command.Draw {
		key = key.Before()
	}
	p.step(err == nil && key.String() == p.command.Seal, "key", "key", short(hex), "before", short(before.String()))
}

// derives draws the dice once more, from what the two entries alone hold; only
// dice that stand again need the entries before.
func (p *prover) derives() bool {
	b := Book{ledger: p.command.Ledger.String()}
	d := drawn{draw: p.command.Draw, cut: p.dice.Cut}
	var err error
	if a := p.command.Again; a != nil {
		b = p.before
		d, err = b.stands(p.command.Seq, *a)
	} else {
		d.key, err = dice.ParseKey(p.key())
	}
	return err == nil && b.derive(p.dice, d) == nil
}

// short is a hash as people compare it: its first and last digits.
func short(hash string) string { return hash[:4] + "..." + hash[len(hash)-2:] }

// cut names the cut of the dice.
func (p *prover) cut() reason.Reason {
	d := p.dice
	switch {
	case d.Again != nil:
		return reason.New("proof.step.cut-again", "of", int64(d.Again.Of))
	case d.Cut == "none":
		return reason.New("proof.step.cut-none")
	case p.proof.Cut == nil:
		return reason.New("proof.step.cut-seal")
	}
	if _, typed := storage.Member(d.Args, "word"); typed {
		return reason.New("proof.step.cut-word", "by", reason.Person(d.Player))
	}
	var round int64
	if _, err := fmt.Sscanf(d.Cut, "beacon:%d:", &round); err != nil {
		round = 0 // Check has refused it
	}
	return reason.New("proof.step.cut-round", "round", round)
}

// files makes the proof files, as far as the checkpoint reaches.
func (p *prover) files(lines [][]byte, signed []byte) (err error) {
	if p.dice == nil || !p.proof.Good() || p.report.Covered <= p.last {
		return nil
	}
	if p.proof.File, err = ProofFile(lines, p.dice.Seq, p.report.Covered, signed); err == nil && p.proof.Cut != nil {
		p.proof.PendingFile, err = ProofFile(lines, p.command.Seq, p.report.Covered, signed)
	}
	return err
}
