package commands

import (
	"bytes"
	"context"
	"errors"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// shelfHanded keeps a file that was handed in until the one that belongs to it comes:
// ledger, and which of the two it is → the file.
const shelfHanded = "handed"

// shelfAdopted keeps how far a ledger was read back: entries before that have no posts
// in this store, and none are missed.
const shelfAdopted = "adopted"

// adopted is the size up to which a ledger was read back, 0 if it never was.
func (d *Desk) adopted(ctx context.Context, l storage.LedgerID) (uint64, error) {
	b, err := d.store.Shelf(shelfAdopted).Get(ctx, l.String())
	if errors.Is(err, storage.ErrNone) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return strconv.ParseUint(string(b), 10, 64)
}

// readBack takes entries that this store lacks from a turn's file and its checkpoint,
// handed in together or one after the other. Nobody needs to agree: what our own
// signature holds for is what happened.
func (a *ask) readBack(v *view) (*answer, error) {
	entries, note, err := a.handed(v)
	if err != nil {
		return nil, err
	}
	switch {
	case entries == nil:
		return only(a.post(a.say("restore.needs_entries")))
	case note == nil:
		return only(a.post(a.say("restore.needs_note")))
	}
	first := v.head.Size
	back, err := a.desk.adopt(a.ctx, v, entries, note)
	if err != nil {
		return nil, err
	}
	a.here, a.views[v.place] = back, back
	told := a.say("restore.back", "first", int(first), "last", int(back.head.Size-1))
	if back.shown > 0 && back.head.Size > back.shown {
		return a.goOn(back, told)
	}
	p := a.post(append([]chat.Line{told}, back.missing()...)...)
	p.Choices = choices(chat.Choice{Label: "That is all", Command: "/settings restored " + number64(back.head.Size-1)})
	return only(p)
}

// handed gives the two files once both are there, and keeps one that came alone.
func (a *ask) handed(v *view) (entries, note []byte, err error) {
	shelf := a.desk.store.Shelf(shelfHanded)
	keys := [2]string{v.ledger.String() + "/entries", v.ledger.String() + "/note"}
	var files [2][]byte
	for i, key := range keys {
		b, err := shelf.Get(a.ctx, key)
		if err != nil && !errors.Is(err, storage.ErrNone) {
			return nil, nil, err
		}
		files[i] = b
	}
	for _, f := range a.msg.Files {
		if len(f.Bytes) > storage.MaxValue {
			return nil, nil, refuse("", "restore.refuse.large", "name", said(f.Name), "most", storage.MaxValue>>10)
		}
		i := 1
		if bytes.HasPrefix(f.Bytes, []byte("{")) {
			i = 0
		}
		files[i] = f.Bytes
	}
	kept := []storage.KeyValue{{Key: keys[0], Value: files[0]}, {Key: keys[1], Value: files[1]}}
	if files[0] != nil && files[1] != nil {
		kept[0].Value, kept[1].Value = nil, nil
	}
	return files[0], files[1], shelf.Put(a.ctx, kept...)
}

// adopt appends the entries of a file that come after those of this store, as far as a
// checkpoint of our own reaches. Every one of them is verified before the first is
// kept: its head, its key, each face, the rules; and the checkpoint holds over all.
func (d *Desk) adopt(ctx context.Context, v *view, file, signed []byte) (*view, error) {
	vkey, err := storage.VKey(d.name, v.ledger, d.public())
	if err != nil {
		return nil, err
	}
	note, _, err := storage.OpenCheckpoint(signed, vkey)
	if err != nil {
		return nil, refuse("", "restore.refuse.note")
	}
	lines, err := proof.SplitLines(file)
	if err != nil {
		return nil, refuse("", "restore.refuse.lines")
	}
	back, entries, err := v.goesOn(lines, note.Size)
	if err != nil {
		return nil, err
	}
	switch {
	case len(entries) == 0:
		return nil, refuse("", "restore.refuse.known", "size", int(v.head.Size))
	case back.head.Size != note.Size:
		return nil, refuse("", "restore.refuse.short", "size", int(note.Size), "have", int(back.head.Size))
	case back.head.Root != note.Root:
		return nil, refuse("", "restore.refuse.root")
	}
	return back, d.keepBack(ctx, v, back, entries)
}

// goesOn verifies entries that come after a view's, up to a size, and gives the view
// with them. Entries that are known already must be the same.
func (v *view) goesOn(lines [][]byte, size uint64) (*view, []storage.Entry, error) {
	w := v.copy(nil)
	var entries []storage.Entry
	for _, line := range lines {
		rec, err := storage.Parse(line)
		switch {
		case err != nil || rec.Ledger != v.ledger:
			return nil, nil, refuse("", "restore.refuse.lines")
		case rec.Seq >= size:
			continue
		case rec.Seq < v.head.Size: // known; the first new one's head says whether it is the same
			continue
		case rec.Seq > w.head.Size:
			return nil, nil, refuse("", "restore.refuse.gap", "first", int(w.head.Size), "last", int(rec.Seq-1))
		case rec.Head != w.head.Last || rec.Time.Before(w.last.Time):
			return nil, nil, refuse("", "restore.refuse.other", "entry", number(int64(rec.Seq)))
		}
		if _, err := w.book.Verify(rec); err != nil {
			return nil, nil, broken(rec, err)
		}
		w.unmet(rec.Player)
		if err := w.fold(rec, storage.LeafHash(line)); err != nil {
			return nil, nil, broken(rec, err)
		}
		entries = append(entries, storage.Entry{Seq: rec.Seq, Bytes: bytes.Clone(line)})
	}
	return w, entries, nil
}

// broken refuses an entry that does not verify.
func broken(rec storage.Record, err error) error {
	var f *proof.Fault
	if errors.As(err, &f) {
		return refuse("", "restore.refuse.fault", "entry", number(int64(rec.Seq)), "why", f.Why)
	}
	var missing *proof.MissingFile
	if errors.As(err, &missing) {
		return refuse("", "restore.refuse.pack", "entry", number(int64(rec.Seq)))
	}
	return refuse("", "restore.refuse.fault", "entry", number(int64(rec.Seq)), "why", reason.New("proof.fault.broken", "what", err.Error()))
}

// unmet gives a pseudonym whose person this store does not know a person that nobody
// is, so that it is never given to somebody else.
func (v *view) unmet(pseudonym string) {
	if _, known := v.persons[pseudonym]; known || pseudonym == storage.Bot {
		return
	}
	w := v.copy([]storage.Player{{Pseudonym: pseudonym, Person: v.ledger.String() + "/" + pseudonym}})
	v.seats, v.persons = w.seats, w.persons
	v.lost = append(v.lost, storage.Player{Pseudonym: pseudonym, Person: v.ledger.String() + "/" + pseudonym})
}

// keepBack appends what was read back, one entry at a time, since each answers a
// message of its own.
func (d *Desk) keepBack(ctx context.Context, v, back *view, entries []storage.Entry) error {
	if err := d.store.Shelf(shelfAdopted).Put(ctx, storage.KeyValue{Key: v.ledger.String(), Value: []byte(number64(back.head.Size))}); err != nil {
		return err
	}
	if err := d.grows(ctx, v.place); err != nil {
		return err
	}
	defer d.days.failed(v.place) // its mark stays
	head := v.head
	for _, e := range entries {
		rec, err := storage.Parse(e.Bytes)
		if err != nil {
			return err
		}
		batch := storage.Batch{Expect: head, Community: v.about.Community, Place: v.about.Place, Salt: v.about.Salt, Source: storage.Source(rec.Source), Entries: []storage.Entry{e}}
		for _, p := range back.lost {
			if p.Pseudonym == rec.Player {
				batch.Players = append(batch.Players, p)
			}
		}
		back.lost = without1(back.lost, rec.Player)
		if err := d.store.Append(ctx, batch); err != nil {
			d.live.drop(v.place)
			return err
		}
		head = storage.Head{Ledger: v.ledger, Size: e.Seq + 1, Last: storage.LeafHash(e.Bytes)}
	}
	d.live.put(v.place, back)
	return nil
}

// without1 leaves a pseudonym out of a list.
func without1(list []storage.Player, pseudonym string) []storage.Player {
	var out []storage.Player
	for _, p := range list {
		if p.Pseudonym != pseudonym {
			out = append(out, p)
		}
	}
	return out
}
