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

// sealLength is how many draws a seal holds.
const sealLength = 4096

// openLedger makes the ledger of a place: its first two entries open it and its
// first seal, and one post that binds tells of both, with a checkpoint.
func (d *Desk) openLedger(ctx context.Context, p chat.Place, c chat.Community, now time.Time) (*view, error) {
	b, err := d.random(16 + 16)
	if err != nil {
		return nil, err
	}
	id := storage.LedgerID(b[:16])
	v := &view{desk: d, place: p, ledger: id, game: proof.NewGame(d.file),
		head:  storage.Head{Ledger: id, Root: storage.EmptyRoot()},
		about: storage.About{Community: string(c), Place: string(p), Salt: b[16:]},
		seats: map[chat.Person]string{}, persons: map[string]chat.Person{}}
	vkey, err := storage.VKey(d.name, id, d.public())
	if err != nil {
		return nil, err
	}
	args := struct {
		VKey     string `json:"vkey"`
		Practice bool   `json:"practice,omitempty"`
	}{vkey, d.practice}
	batch := storage.Batch{Expect: v.head, Community: v.about.Community, Place: v.about.Place, Salt: v.about.Salt}
	if err := v.enter(&batch, now, "ledger.open", args); err != nil {
		return nil, err
	}
	if err := v.newSeal(&batch, now, "first"); err != nil {
		return nil, err
	}
	say := v.speaker().Say
	first := say("desk.opened")
	if d.practice {
		first = say("desk.practice")
	}
	post := chat.Post{To: chat.Destination{Place: p}, Binds: true, Quiet: true, Entry: 1, Lines: append([]chat.Line{first,
		say("desk.seal", "entry", number(1), "tip", code(v.seals.Tip()), "length", sealLength)}, v.checkpointLines()...)}
	return v, d.store1(ctx, v, batch, post)
}

// renewSeal opens a new seal; the old one's keys, if any are left, are given up.
func (d *Desk) renewSeal(ctx context.Context, old *view, why string, now time.Time) (*view, error) {
	v := old.copy(nil)
	batch := storage.Batch{Expect: v.head, Community: v.about.Community, Place: v.about.Place, Salt: v.about.Salt}
	if now.Before(v.last.Time) {
		now = v.last.Time
	}
	if err := v.newSeal(&batch, now, why); err != nil {
		return nil, err
	}
	post := chat.Post{To: chat.Destination{Place: v.place}, Binds: true, Quiet: true, Entry: int64(v.last.Seq),
		Lines: append([]chat.Line{v.speaker().Say("desk.newseal", "entry", number(int64(v.last.Seq)),
			"tip", code(v.seals.Tip()), "length", sealLength)}, v.checkpointLines()...)}
	return v, d.store1(ctx, v, batch, post)
}

// newSeal adds the entry that opens a seal, and its secret.
func (v *view) newSeal(batch *storage.Batch, now time.Time, why string) error {
	b, err := v.desk.random(32)
	if err != nil {
		return err
	}
	seals, err := proof.NewSeals(dice.Key(b), sealLength)
	if err != nil {
		return err
	}
	v.seals, batch.Secret = seals, seals.Secret()
	return v.enter(batch, now, "seal.open", struct {
		Tip    string `json:"tip"`
		Length int    `json:"length"`
		Why    string `json:"why"`
	}{seals.Tip(), sealLength, why})
}

// enter adds an entry of the bot's own that draws nothing.
func (v *view) enter(batch *storage.Batch, now time.Time, command string, args any) error {
	object, err := storage.Canon(args)
	if err != nil {
		return err
	}
	rec := storage.Record{Ledger: v.ledger, Seq: v.head.Size, Head: v.head.Last, Time: now, Player: "bot", Command: command, Args: object}
	b, err := rec.Encode()
	if err != nil {
		return fmt.Errorf("%s: %w", command, err)
	}
	batch.Entries = append(batch.Entries, storage.Entry{Seq: rec.Seq, Bytes: b})
	return v.fold(rec, storage.LeafHash(b))
}

// store1 appends a batch of one post and lets the view be seen.
func (d *Desk) store1(ctx context.Context, v *view, batch storage.Batch, post chat.Post) error {
	b, err := encodePost(post)
	if err != nil {
		return err
	}
	batch.Posts = []storage.Post{{Place: string(v.place), Bytes: b}}
	if err := d.store.Append(ctx, batch); err != nil {
		d.live.drop(v.place)
		return err
	}
	d.live.put(v.place, v)
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
