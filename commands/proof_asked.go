package commands

import (
	"context"
	"fmt"

	"drumhead/commands/beacon"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// planProof checks one roll now, or without a number everything here.
func planProof(a *ask) (*answer, error) {
	if a.value("entry") == "" {
		return a.proveAll()
	}
	e, err := a.asked()
	if err != nil {
		return nil, err
	}
	lines, err := a.desk.lines(a.ctx, a.here.ledger, a.here.head.Size)
	if err != nil {
		return nil, err
	}
	signed, err := a.desk.Checkpoint(a.ctx, a.here.ledger, a.here.head.Size)
	if err != nil {
		return nil, err
	}
	proved, err := proof.ProveEntry(lines, e.rec.Seq, signed, a.here.book.Chain())
	if err != nil {
		return nil, err
	}
	return only(a.provePost(e, proved))
}

// provePost says what was checked just now, whether it was odd, and how to
// check without the bot.
func (a *ask) provePost(e *explained, p proof.Proof) chat.Post {
	entry := part(e)
	head := "prove.stands"
	switch {
	case !p.Good():
		head = "prove.falls"
	case p.Dice == 0 && e.rec.Wait != nil && e.rec.Events == nil:
		head = "prove.waits"
	case len(e.rec.Faces) == 0:
		head = "prove.written"
	}
	post := a.post(a.say(head, "entry", entry, "n", len(p.Steps)))
	for i, s := range p.Steps {
		post.Lines = append(post.Lines, a.say("prove.step", "n", i+1, "what", s.What))
	}
	if p.Fault != nil {
		post.Lines = append(post.Lines, a.say("prove.fault", "what", p.Fault.Why))
	}
	if odd, ok := oddities[e.rec.Command]; ok && p.Good() {
		if line, ok := odd(e); ok {
			post.Lines = append(post.Lines, a.say("prove.odd", "what", line))
		}
	}
	if p.Waits {
		post.Lines = append(post.Lines, a.unsettled(e))
	}
	file := func(seq uint64) {
		post.Files = append(post.Files, chat.Recipe{Kind: "proof", Ledger: a.here.ledger.String(), First: int64(seq), Last: int64(a.here.head.Size),
			Name: fmt.Sprintf("%d.tlog-proof", seq)})
	}
	if p.PendingFile != nil {
		file(e.rec.Seq)
	}
	if p.File != nil && p.Cut != nil {
		file(p.Cut.Seq)
	} else if p.File != nil {
		file(e.rec.Seq)
	}
	post.Lines = append(post.Lines, a.say([]string{"prove.without_none", "prove.without_file", "prove.without_files"}[len(post.Files)]))
	post.Entry, post.Binds = int64(e.rec.Seq), true
	return post
}

// part is the number of an entry as it was asked for: #210, or #210.3.
func part(e *explained) chat.Span {
	s := number(int64(e.rec.Seq))
	if e.part > 0 {
		s.Text = fmt.Sprintf(".%d", e.part)
	}
	return s
}

// proveAll checks the whole ledger here, rules and all, and hangs a checkpoint
// of exactly its size on the post.
func (a *ask) proveAll() (*answer, error) {
	if !a.here.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	lines, err := a.desk.lines(a.ctx, a.here.ledger, a.here.head.Size)
	if err != nil {
		return nil, err
	}
	signed, err := a.desk.Checkpoint(a.ctx, a.here.ledger, a.here.head.Size)
	if err != nil {
		return nil, err
	}
	r := proof.Check(lines, proof.Options{Checkpoints: [][]byte{signed}, Chains: []*beacon.Chain{a.here.book.Chain()}, Replay: proof.NewReplay(a.desk.file)})
	if r.Fault != nil {
		return only(a.post(a.say("prove.bad", "n", int(r.Size)), a.say("prove.fault", "what", r.Fault.Why)))
	}
	post := a.post(a.say("prove.all", "n", int(r.Size), "dice", r.Dice, "seals", r.Seals))
	rules := "prove.rules"
	if !r.Rules {
		rules = "prove.norules"
	}
	post.Lines = append(post.Lines, a.say(rules, "n", r.Replayed))
	for _, m := range r.Remarks {
		post.Lines = append(post.Lines, a.here.speaker().Reason(m.Reason()))
	}
	post.Lines = append(post.Lines, a.here.checkpointLines()...)
	post.Files = []chat.Recipe{
		{Kind: "entries", Ledger: a.here.ledger.String(), Last: int64(a.here.head.Size) - 1, Name: fileName(a.here.place) + ".jsonl"},
		a.here.checkpointFile()}
	post.Binds = true // a checkpoint on request
	return only(post)
}

// lines reads the first size entries of a ledger, as its file has them.
func (d *Desk) lines(ctx context.Context, l storage.LedgerID, size uint64) ([][]byte, error) {
	return d.linesFrom(ctx, l, 0, size)
}

// linesFrom reads the entries from ≤ seq < to.
func (d *Desk) linesFrom(ctx context.Context, l storage.LedgerID, from, to uint64) ([][]byte, error) {
	out := make([][]byte, 0, to-from)
	for e, err := range d.store.Read(ctx, l, from, to) {
		if err != nil {
			return nil, err
		}
		out = append(out, append([]byte{}, e.Bytes...))
	}
	return out, nil
}

// makeProof writes the proof file of entry First under a checkpoint of size Last.
func makeProof(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	l, err := storage.ParseLedgerID(r.Ledger)
	if err != nil {
		return nil, err
	}
	lines, err := d.lines(ctx, l, uint64(r.Last))
	if err != nil {
		return nil, err
	}
	signed, err := d.Checkpoint(ctx, l, uint64(r.Last))
	if err != nil {
		return nil, err
	}
	return proof.ProofFile(lines, uint64(r.First), uint64(r.Last), signed)
}
