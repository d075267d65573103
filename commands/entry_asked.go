package commands

import (
	"strconv"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/storage"
)

func entryCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "explain", Mode: args.Private, Help: "how roll N came about, step by step", Example: "/explain 3", OnPost: "Explain",
			Params: []args.Param{{Name: "entry", Kind: args.Entry, Optional: true, Help: "its number, as 210 or 210.3"}}}, plan: planExplain},
		{Spec: args.Spec{Name: "proof", Help: "check roll N, or the whole game, now", Example: "/proof 3", OnPost: "Prove",
			Params: []args.Param{{Name: "entry", Kind: args.Entry, Optional: true, Help: "its number, as 210 or 210.3"}}}, plan: planProof},
	}
}

// asked finds the entry that a command names: a number, or without one the
// newest roll of this place.
func (a *ask) asked() (*explained, error) {
	if !a.here.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	seq, part, ok := a.values.Entry("entry")
	if !ok {
		seq, part = a.newestRoll(), 0
	}
	if seq >= a.here.head.Size {
		return nil, refuse("", "entry.refuse.none", "entry", number(int64(seq)), "last", number(int64(a.here.head.Size-1)))
	}
	e := &explained{ask: a, view: a.here, part: part}
	var err error
	if e.rec, err = a.whole(a.here, seq); err != nil {
		return nil, err
	}
	switch n := e.parts(); {
	case part > 0 && n == 0:
		return nil, refuse("/explain "+number64(seq), "entry.refuse.whole", "entry", number(int64(seq)))
	case part > n:
		return nil, refuse("/explain "+number64(seq), "entry.refuse.part", "entry", number(int64(seq)), "part", part, "n", n)
	}
	e.before, err = a.gameAt(a.here, e.rec.Seq)
	return e, err
}

// whole reads an entry as it is told: the number of a cut means the command that
// it cuts, and one that waited has the dice of its cut, if it has them yet.
func (a *ask) whole(v *view, seq uint64) (storage.Record, error) {
	rec, err := a.entry(v, seq)
	if err != nil {
		return rec, err
	}
	if of, ok := entryOf(rec); ok && (rec.Command == "cut" || rec.Command == "wait" || rec.Command == "void") {
		if rec, err = a.entry(v, of); err != nil {
			return rec, err
		}
	}
	if rec.Wait == nil {
		return rec, nil
	}
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, rec.Seq+1, v.head.Size) {
		if err != nil {
			return rec, err
		}
		later, err := storage.Parse(raw.Bytes)
		if err != nil {
			return rec, err
		}
		if of, ok := entryOf(later); ok && of == rec.Seq && later.Command == "cut" {
			return joined(rec, later), nil
		}
	}
	return rec, nil
}

// parts is how many parts an entry has that can be asked for: lines of a sheet,
// rounds of a roll. A thing in one piece has none.
func (e *explained) parts() int {
	if e.rec.Command == battle.CommandOrder {
		if do, err := battle.ParseDo(e.rec.Command, e.rec.Args); err == nil {
			return len(do.(battle.Sheet).Orders)
		}
	}
	if event, err := proof.RollOf(e.rec.Events); err == nil {
		return len(event.Outcome.Rounds)
	}
	return 0
}

// gameAt is what a ledger had come to before entry seq.
func (a *ask) gameAt(v *view, seq uint64) (proof.Game, error) {
	game := proof.NewGame(a.desk.file)
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, 0, seq) {
		if err != nil {
			return game, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return game, err
		}
		if game, err = game.Take(rec); err != nil {
			return game, err
		}
	}
	return game, nil
}

// newestRoll is the last entry with dice here; the newest entry if there is none.
func (a *ask) newestRoll() uint64 {
	last := a.here.head.Size - 1
	for from := last + 1; from > 0; {
		step := min(from, 64)
		var found uint64
		for raw, err := range a.desk.store.Read(a.ctx, a.here.ledger, from-step, from) {
			if err != nil {
				return last
			}
			if rec, err := storage.Parse(raw.Bytes); err == nil && len(rec.Faces) > 0 {
				found = rec.Seq
			}
		}
		if found > 0 {
			return found
		}
		from -= step
	}
	return last
}

// plainEntry says what an entry is for which nothing was rolled.
func (a *ask) plainEntry(rec storage.Record) chat.Line {
	id := "entry.plain"
	switch rec.Command {
	case "ledger.open":
		id = "entry.opens"
	case "seal.open":
		id = "entry.seal"
	}
	return a.say(id, "entry", number(int64(rec.Seq)), "command", strings.ReplaceAll(rec.Command, ".", " "),
		"who", a.here.who(rec.Player), "time", a.desk.when(rec.Time, a.msg.Person))
}

func planExplain(a *ask) (*answer, error) {
	e, err := a.asked()
	if err != nil {
		return nil, err
	}
	if e.rec.Wait != nil && e.rec.Events == nil {
		return only(a.post(a.unsettled(e)))
	}
	explain, ok := explainers[e.rec.Command]
	if !ok {
		return only(a.post(a.plainEntry(e.rec)))
	}
	lines, err := explain(e)
	if err != nil {
		return nil, err
	}
	p := a.post(lines...)
	p.Entry, p.Files = int64(e.rec.Seq), e.files
	s, err := a.settings(e.view.place)
	if s.Pictures != picturesNever {
		p.Pictures = e.drawn
	}
	if e.drawn != nil {
		about := number64(e.rec.Seq)
		if e.part > 0 {
			about += "." + strconv.Itoa(e.part)
		}
		p.Choices = choices(chat.Choice{Label: "Odds", Command: "/odds " + about})
	}
	return &answer{posts: []chat.Post{p}}, err
}

// unsettled says of an entry without an outcome what it waits for, or that it
// was ended without dice.
func (a *ask) unsettled(e *explained) chat.Line {
	p, waits := pendingAt(a.here, e.rec.Seq)
	if !waits {
		return a.say("cut.ended", "entry", number(int64(e.rec.Seq)), "by", a.here.who(e.rec.Player))
	}
	return a.say("cut.waits", "entry", number(int64(p.Seq)), "by", a.here.who(p.Player), "what", a.here.awaited(p))
}
