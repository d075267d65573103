package commands

import (
	"strings"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// cutTimer is the name of the timer that wakes the desk for an entry's cut.
func cutTimer(seq uint64) string { return "cut." + number64(seq) }

// sealTimer is the name of the one that wakes it for a seal's own.
const sealTimer = "seal"

func wordCut(cut string) bool { return strings.HasPrefix(cut, "word:") }

// roundOf is the number in a cut by a round.
func roundOf(cut string) string {
	n, _, _ := strings.Cut(strings.TrimPrefix(cut, "beacon:"), ":")
	return n
}

// pend lets a command take its draw and wait: it can no longer change, and has
// no outcome yet.
func (a *ask) pend(act *act, g *gathered, rec storage.Record, w storage.Wait) (*done, error) {
	if err := g.now.book.Pend(g.now.keys, &rec, w); err != nil {
		return nil, err
	}
	if act.memo != "" {
		if err := a.desk.remember(a.ctx, rec, act.memo); err != nil {
			return nil, err
		}
	}
	d, err := a.enter(act, g, rec)
	if err == nil {
		d.waits = true
	}
	return d, err
}

// tellPending makes the post that binds: the command in words, which draw, what
// it waits for, its code, and its key if that waits for a round. It holds no
// word of a player.
func (d *done) tellPending() (told, error) {
	say, rec := d.after.speaker().Say, d.rec
	p, ok := pendingAt(d.after, rec.Seq)
	if !ok {
		return told{}, nil
	}
	post := chat.Post{Binds: true, Entry: int64(rec.Seq), Lines: []chat.Line{
		say("cut.pending", "who", d.after.who(rec.Player), "what", d.spelled(), "entry", number(int64(rec.Seq)))}}
	set, err := d.after.wake(p)
	if err != nil {
		return told{}, err
	}
	post.Lines = append(post.Lines, d.after.awaiting(p, storage.Hash(d.leaf))...)
	if p.By != "" {
		who := d.after.person(p.By)
		post.Notify = []chat.Person{who}
		if err := d.ask.desk.plays(d.ask.ctx, d.ask.msg.Community, who, owed(d.after.place)); err != nil {
			return told{}, err
		}
		post.Choices = choices(chat.Choice{Label: "Cut", Command: "/cut", Who: []chat.Person{who}, Form: flat(say("cut.form"))})
	}
	return told{posts: []chat.Post{post}, set: []storage.Timer{set}}, nil
}

// awaiting are the lines of a post that binds, after its first.
func (v *view) awaiting(p proof.Pending, leaf storage.Hash) []chat.Line {
	say := v.speaker().Say
	lines := []chat.Line{say("cut.draw", "draw", p.Draw, "seal", p.Seal[:8], "code", code(leaf.String()[:16]))}
	if p.Round > 0 {
		return append(lines, say("cut.round", "round", p.Round), say("cut.key"), chat.Line{code(p.Key)})
	}
	lines = append(lines, say("cut.word", "who", v.who(p.By), "till", v.desk.when(p.Until, v.person(p.By))))
	if v.book.Chain() != nil {
		return append(lines, say("cut.else_beacon"))
	}
	return append(lines, say("cut.else_sealed"))
}

// owed is how a word that somebody is to give stands among their games.
func owed(p chat.Place) game { return game{Place: p, What: "cut"} }

// cutWaiting lists the words that somebody is to give in a place, with what such a
// cut is worth. Where none is wanted any more the place is forgotten.
func cutWaiting(a *ask, v *view, who chat.Person) []due {
	var out []due
	for _, p := range v.book.Pending() {
		if p.Lost || p.By == "" || v.person(p.By) != who || a.now.After(p.Until) {
			continue
		}
		say := v.speaker().Say
		out = append(out, due{work: 1, till: p.Until, line: say("cut.due", "who", v.who(p.Player), "entry", number(int64(p.Seq))),
			tap: chat.Choice{Label: "Cut", Command: "/cut", Who: []chat.Person{who}, Form: flat(say("cut.form")), Place: v.place}})
	}
	if len(out) == 0 {
		if err := a.desk.ends(a.ctx, a.msg.Community, who, owed(v.place)); err != nil {
			a.desk.log.Warn("a place where a word was owed is not forgotten", "place", v.place, "err", err)
		}
	}
	return out
}

// sealed is the entry that opened the newest seal.
func (v *view) sealed() uint64 { return v.book.Opened() }

// wake sets the timer for what an entry waits for.
func (v *view) wake(p proof.Pending) (storage.Timer, error) {
	due := p.Until
	if p.Round > 0 {
		due = v.book.Chain().Due(p.Round)
	}
	return timer(cutTimer(p.Seq), due, "cut due", args.Values{"of": number64(p.Seq)})
}

// pendingAt finds what waits by the number of its entry.
func pendingAt(v *view, seq uint64) (proof.Pending, bool) {
	for _, p := range v.book.Pending() {
		if p.Seq == seq {
			return p, true
		}
	}
	return proof.Pending{}, false
}

// ahead is the round for what is put off now: one after that which it waited for.
func (d *Desk) ahead(v *view, now time.Time, past uint64) (storage.Wait, error) {
	chain := v.book.Chain()
	round := max(chain.Next(now, d.rounds.latest()), past+1)
	if !chain.Ahead(round, now) {
		return storage.Wait{}, refuse("", "cut.refuse.clock")
	}
	return storage.Wait{Round: round}, nil
}
