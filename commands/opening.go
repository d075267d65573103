package commands

import (
	"context"
	"encoding/base64"
	"fmt"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// openLedger makes the ledger of a place: its first two entries open it and its
// first seal, and one post that binds tells of both, with a checkpoint. from is the
// ledger that it goes on from, nil for none.
func (d *Desk) openLedger(ctx context.Context, p chat.Place, c chat.Community, now time.Time, from *proof.From) (*view, error) {
	b, err := d.random(16 + 16 + 32)
	if err != nil {
		return nil, err
	}
	v := &view{desk: d, place: p, ledger: storage.LedgerID(b[:16]), game: proof.NewGame(d.file), book: proof.NewBook(d.chain),
		about: storage.About{Community: string(c), Place: string(p), Salt: b[16:32]},
		seats: map[chat.Person]string{}, persons: map[string]chat.Person{}}
	v.head = storage.Head{Ledger: v.ledger, Root: storage.EmptyRoot()}
	vkey, err := storage.VKey(d.name, v.ledger, d.public())
	if err != nil {
		return nil, err
	}
	start := proof.Start{From: from, Ledger: v.ledger, Time: now, VKey: vkey, Last: dice.Key(b[32:]), Length: d.length}
	if d.chain != nil {
		start.Chain, start.Round = d.chain, d.chain.Next(now, d.rounds.latest())
	}
	records, keys, err := proof.Opening(start)
	if err != nil {
		return nil, err
	}
	opened := "desk.opened"
	if d.practice {
		opened = "desk.practice"
	}
	return v, d.store1(ctx, v, keys, records, renewal{told: v.speaker().Say(opened)})
}

// renewal is why a seal is opened, what its post says first, and the source of the
// message that asked for it, if one did.
type renewal struct {
	why    string
	told   chat.Line
	source storage.Source
	set    []storage.Timer
}

// newSeal opens a seal: one that is spent soon gets its follower before its last
// key is taken, and one whose keys cannot be used any more is given up.
func (d *Desk) newSeal(ctx context.Context, old *view, now time.Time, r renewal) (*view, error) {
	b, err := d.random(32)
	if err != nil {
		return nil, err
	}
	at := now
	if at.Before(old.last.Time) {
		at = old.last.Time
	}
	round := uint64(0)
	if chain := old.book.Chain(); chain != nil {
		round = chain.Next(at, d.rounds.latest())
	}
	rec, keys, err := proof.OpenSeal(old.keys, r.why, dice.Key(b), d.length, round)
	if err != nil {
		return nil, err
	}
	rec.Time, rec.Source = at, string(r.source)
	v := old.copy(nil)
	return v, d.store1(ctx, v, keys, []storage.Record{rec}, r)
}

// store1 appends the bot's own entries that open a seal, with the one post that
// tells of it, and lets the view be seen.
func (d *Desk) store1(ctx context.Context, v *view, keys proof.Keys, records []storage.Record, r renewal) error {
	batch := storage.Batch{Source: r.source, Expect: v.head, Community: v.about.Community, Place: v.about.Place, Salt: v.about.Salt}
	var err error
	if batch.Entries, err = proof.Lines(v.head, records); err != nil {
		return err
	}
	for i, e := range batch.Entries {
		if err := v.fold(records[i], storage.LeafHash(e.Bytes)); err != nil {
			return err
		}
	}
	if batch.Secret, err = keys.Encode(); err != nil {
		return err
	}
	v.keys = keys
	tip, length := keys.Newest()
	say := v.speaker().Say
	post := chat.Post{Binds: true, Quiet: true, Entry: int64(v.last.Seq), To: chat.Destination{Place: v.place},
		Lines: []chat.Line{r.told, say("desk.seal", "entry", number(int64(v.last.Seq)), "length", length), {code(tip)}}}
	if round := v.book.Uncut(); round > 0 {
		post.Lines = append(post.Lines, say("desk.seal_round", "round", round))
		set, err := timer(sealTimer, v.book.Chain().Due(round), "seal due", nil)
		if err != nil {
			return err
		}
		r.set = append(r.set, set)
	}
	post.Lines = append(post.Lines, v.checkpointLines()...)
	b, err := encodePost(post)
	if err != nil {
		return err
	}
	batch.Set = r.set
	batch.Posts = []storage.Post{{Place: string(v.place), Bytes: b}}
	if err := d.grows(ctx, v.place); err != nil {
		return err
	}
	if err := d.store.Append(ctx, batch); err != nil {
		d.live.drop(v.place)
		d.days.failed(v.place)
		return err
	}
	d.live.put(v.place, v)
	d.days.added(v.place, v.last.Time, true)
	return nil
}

// checkpointLines are the two lines of a checkpoint in a post: anybody may hold
// them against the signed file later.
func (v *view) checkpointLines() []chat.Line {
	return []chat.Line{v.speaker().Say("desk.checkpoint", "size", int(v.head.Size)),
		{code(base64.StdEncoding.EncodeToString(v.head.Root[:]))}}
}

// checkpointPost is a checkpoint that comes by itself, or because it was asked for.
func (v *view) checkpointPost() chat.Post {
	return chat.Post{To: chat.Destination{Place: v.place}, Binds: true, Quiet: true, Entry: -1,
		Lines: v.checkpointLines(), Files: []chat.Recipe{v.checkpointFile()}}
}

// checkpointFile is the signed note over everything up to this view.
func (v *view) checkpointFile() chat.Recipe {
	return chat.Recipe{Kind: "checkpoint", Ledger: v.ledger.String(), Last: int64(v.head.Size),
		Name: fmt.Sprintf("%s-%d.checkpoint", fileName(v.place), v.head.Size)}
}

// code is a span of letters to compare, number one of an entry.
func code(s string) chat.Span      { return chat.Span{Kind: chat.Code, Text: s} }
func number(entry int64) chat.Span { return chat.Span{Kind: chat.Number, Entry: entry} }
