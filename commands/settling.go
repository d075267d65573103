package commands

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// settling is the entry that waits and that an act is about.
type settling struct {
	proof.Pending
	rec  storage.Record // its entry
	leaf storage.Hash
	cut  string // what cuts it; "" for a wait or a void
}

// settle finds an entry that waits, with everything that stands in it.
func (a *ask) settle(v *view, seq uint64) (*settling, error) {
	p, ok := pendingAt(v, seq)
	if !ok {
		return nil, refuse("", "cut.refuse.settled", "entry", number(int64(seq)))
	}
	s := &settling{Pending: p}
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, seq, seq+1) {
		if err != nil {
			return nil, err
		}
		if s.rec, err = storage.Parse(raw.Bytes); err != nil {
			return nil, err
		}
		s.leaf = storage.LeafHash(raw.Bytes)
	}
	return s, nil
}

// resumers make the act of a command that waited once more, so that its outcome
// is told as if it had come at once.
var resumers = map[string]func(a *ask, s *settling, memo string) (act, error){
	"roll":         resumeRoll,
	"order":        resumeOrder,
	"battle.pass":  resumeOrder,
	"battle.begin": resumeBegin,
}

// cut makes the act that resolves an entry: args name what cuts it.
func (a *ask) cut(v *view, s *settling, cut string, args any) (act, error) {
	resume, ok := resumers[s.rec.Command]
	if !ok {
		return act{}, fmt.Errorf("commands: %q waits for a cut and cannot be resumed", s.rec.Command)
	}
	memo, err := a.desk.recall(a.ctx, s.rec)
	if err != nil {
		return act{}, err
	}
	asked := *a
	asked.msg.Person, asked.msg.Place, asked.here = v.person(s.rec.Player), v.place, v
	out, err := resume(&asked, s, memo)
	if err != nil {
		return out, err
	}
	s.cut = cut
	out.place, out.command, out.args, out.about, out.words = v.place, "cut", args, s, nil
	tell, then := out.tell, out.then
	out.tell = func(d *done) (told, error) {
		t, err := tell(d.whole())
		t.cancel = append(t.cancel, cutTimer(s.Seq))
		return t, err
	}
	if then != nil {
		out.then = func(d *done) ([]act, error) { return then(d.whole()) }
	}
	return out, nil
}

// whole is what was decided at a cut, as one entry: the command that waited
// with the dice and the events of its cut.
func (d *done) whole() *done {
	w := *d
	s := d.act.about
	w.rec = joined(s.rec, d.rec)
	w.leaf = s.leaf
	return &w
}

// joined is a command that waited and its cut as one entry, which has the
// number of the command.
func joined(command, cut storage.Record) storage.Record {
	out := command
	out.Faces, out.Cut, out.Events = cut.Faces, cut.Cut, cut.Events
	if out.Key == "" {
		out.Key = cut.Key
	}
	return out
}

// resolve decides a command that waited, with the dice of its cut.
func (a *ask) resolve(act *act, g *gathered, rec storage.Record) (*done, error) {
	s := act.about
	draw, err := g.now.book.CutOf(g.now.keys, s.Seq, s.cut)
	if err != nil {
		return nil, err
	}
	rec.Events, err = g.now.game.DecideCut(s.Seq, act.opened, draw)
	if err != nil {
		return nil, err
	}
	draw.Fill(&rec)
	return a.enter(act, g, rec)
}

// wait makes the act that lets an entry wait for a (later) round.
func (a *ask) wait(s *settling, place chat.Place, why string) act {
	return act{place: place, command: "wait", bot: true, about: s, args: map[string]any{"of": s.Seq, "why": why},
		tell: func(d *done) (told, error) { return d.tellMoved(why) }}
}

// tellMoved is the post of a wait: it binds as the first did.
func (d *done) tellMoved(why string) (told, error) {
	say, s := d.after.speaker().Say, d.act.about
	p, ok := pendingAt(d.after, s.Seq)
	if !ok {
		return told{}, nil
	}
	set, err := d.after.wake(p)
	if err != nil {
		return told{}, err
	}
	head := say("cut.moved."+why, "entry", number(int64(s.Seq)), "who", d.after.who(s.By), "by", d.after.who(s.Player))
	post := chat.Post{Binds: true, Entry: int64(d.rec.Seq), Lines: append([]chat.Line{head}, d.after.awaiting(p, d.leaf)...)}
	return told{posts: []chat.Post{post}, set: []storage.Timer{set}}, nil
}

// moved fills in a wait or a void: its new round, and the key if it was secret.
func (a *ask) moved(act *act, g *gathered, rec storage.Record) (*done, error) {
	if rec.Command == "wait" {
		w, err := a.desk.ahead(g.now, rec.Time, act.about.Round)
		if err != nil {
			return nil, err
		}
		rec.Wait = &w
	}
	if err := g.now.book.Reveal(g.now.keys, act.about.Seq, &rec); err != nil {
		return nil, err
	}
	return a.enter(act, g, rec)
}

// shelfMemos keeps what the posts of waiting entries need and the entries do
// not hold: ledger/seq → the entry's source and the text.
const shelfMemos = "waiting"

type memo struct {
	Source string `json:"source"`
	Text   string `json:"text"`
}

func memoKey(rec storage.Record) string { return fmt.Sprintf("%s/%d", rec.Ledger, rec.Seq) }

// remember keeps a memo before its entry is appended; one of an entry that never
// was is told apart by its source.
func (d *Desk) remember(ctx context.Context, rec storage.Record, text string) error {
	b, err := json.Marshal(memo{rec.Source, text})
	if err != nil {
		return err
	}
	return d.store.Shelf(shelfMemos).Put(ctx, storage.KeyValue{Key: memoKey(rec), Value: b})
}

// recall finds the memo of an entry, "" if there is none.
func (d *Desk) recall(ctx context.Context, rec storage.Record) (string, error) {
	b, err := d.store.Shelf(shelfMemos).Get(ctx, memoKey(rec))
	if errors.Is(err, storage.ErrNone) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	var m memo
	if err := json.Unmarshal(b, &m); err != nil || m.Source != rec.Source {
		return "", err
	}
	return m.Text, nil
}
