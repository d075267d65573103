package commands

import (
	"encoding/hex"
	"errors"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// planOrder gives a sheet of orders. Without lines it shows what may be ordered.
func planOrder(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	text := a.value("lines")
	ends := endsTurn
	if text != "" {
		ends = endsSheet // lines that wait: another sheet has settled them
	}
	if late, err := f.movedOn(ends); late != nil || err != nil {
		return late, err
	}
	if strings.TrimSpace(text) == "" {
		return only(f.orderHelp())
	}
	side := f.side()
	if side == battle.Nobody {
		side = f.Side // the rules refuse a stranger with everybody's names
	}
	lines, err := battle.ParseSheet(f.State, side, text)
	if err != nil {
		if own := f.notMine(); own != nil {
			return nil, own // not one's turn matters more than a wrong name
		}
		return nil, f.ofSheet(err, text)
	}
	whole := f
	whole.Undone = nil // all of it is lawful, before any part of it is done
	if _, err := whole.tried(battle.Sheet{Battle: f.seq, Orders: lines}); err != nil {
		return nil, f.ofSheet(f.sorting(err, lines, text), text)
	}
	order, err := f.ordering(lines, text)
	if err != nil {
		return nil, f.ofSheet(err, text)
	}
	return act1(order)
}

// resumeOrder makes the act of a sheet, or of a turn passed, that waited.
func resumeOrder(a *ask, s *settling, memo string) (act, error) {
	seq := battleAsked(s.rec.Args)
	f := field{ask: a, view: a.here, seq: seq, State: proof.BattlesOf(a.here.game).Begun[seq]}
	var err error
	if f.Names, err = a.unitNames(a.here, seq); err != nil {
		return act{}, err
	}
	var out act
	text, rest, _ := strings.Cut(memo, restMark)
	f.follow(&out, text, rest)
	out.opened, err = f.sealedOrders()
	return out, err
}

// sorting offers the sheet in the order of a turn where that is all it lacks.
func (f field) sorting(err error, lines []battle.Line, text string) error {
	var r *reason.Refusal
	typed := written(text)
	if !errors.As(err, &r) || r.Reason.ID != "battle.refuse.phase" || len(typed) != len(lines) {
		return err
	}
	var sorted []battle.Line
	var words []string
	for _, i := range battle.Sorted(f.State, lines) {
		sorted, words = append(sorted, lines[i]), append(words, typed[i])
	}
	if _, err := f.tried(battle.Sheet{Battle: f.seq, Orders: sorted}); err != nil {
		return r
	}
	out := *r
	out.Reason.ID = "battle.refuse.phase_sorted"
	out.Example = "/order " + strings.Join(words, "; ")
	return &out
}

// ofSheet tells a refusal of a sheet: of one with a single line no number is said.
func (f field) ofSheet(err error, text string) error {
	var r *reason.Refusal
	if !errors.As(err, &r) || r.Line == 0 {
		return f.named(err)
	}
	one := *r
	if one.Example == "" && f.side() == f.Side {
		one.Example = f.orderExample()
	}
	if len(written(text)) > 1 {
		return f.named(&one)
	}
	one.Line = 0
	if one.Example != "" && !strings.HasPrefix(one.Example, "/") {
		one.Example = "/order " + one.Example
	}
	return f.named(&one)
}

// orderExample is a line that the asker could give right now, with units of their
// own that stand; "done" if nothing else is left to do.
func (f field) orderExample() string {
	side := f.side()
	var own, theirs []string
	for _, u := range f.Units {
		switch {
		case !u.Stands():
		case u.Side == side:
			own = append(own, f.Short(u.ID))
		default:
			theirs = append(theirs, f.Short(u.ID))
		}
	}
	for _, line := range []func(mine, at string) string{
		func(mine, _ string) string { return "move " + mine + " 4 in" },
		func(mine, at string) string { return "shoot " + mine + " at " + at + ", 12 in" },
		func(mine, at string) string { return "charge " + mine + " at " + at + ", 6 in" },
		func(mine, _ string) string { return "fight " + mine },
	} {
		for _, mine := range own {
			for _, at := range theirs {
				if text := line(mine, at); f.couldOrder(side, text) {
					return text + "; done"
				}
			}
		}
	}
	return "done"
}

// couldOrder tells whether a line would be taken now.
func (f field) couldOrder(side int, line string) bool {
	lines, err := battle.ParseSheet(f.State, side, line)
	if err != nil {
		return false
	}
	_, err = f.tried(battle.Sheet{Battle: f.seq, Orders: lines})
	return err == nil
}

// notMine refuses who has not the move.
func (f field) notMine() error {
	_, err := battle.Check(f.State, battle.Order{Player: f.view.seats[f.ask.msg.Person], Do: battle.Sheet{Battle: f.seq, Orders: []battle.Line{{Order: battle.Done}}}})
	if err == nil {
		return nil
	}
	return f.named(err)
}

// written is a sheet's lines as they were typed.
func written(text string) []string { return args.Values{"lines": text}.Lines("lines") }

// sealedOrders gives what the two have sealed ahead; what acts is opened.
func (f field) sealedOrders() ([]proof.Opened, error) {
	var out []proof.Opened
	for side := range f.Ahead {
		for _, seq := range f.Ahead[side] {
			list, err := f.ask.desk.store.Words(f.ask.ctx, f.view.ledger, seq)
			if err != nil && !errors.Is(err, storage.ErrNone) {
				return nil, err
			}
			for _, w := range list {
				if strings.HasPrefix(w.Name, wordAhead) {
					out = append(out, proof.Opened{Of: seq, Salt: hex.EncodeToString(w.Salt), Value: storage.Object(w.Text)})
				}
			}
		}
	}
	return out, nil
}

// orderHelp shows what one's units may do, each in a line, and how a sheet looks.
func (f field) orderHelp() chat.Post {
	p := f.ask.post(f.say("battle.sheet.head", "title", f.title(), "turn", f.Turn, "player", f.player(f.Side)))
	p.To.Only = f.ask.msg.Person
	side := f.side()
	for _, u := range f.Units {
		if u.Side == side && u.Stands() {
			p.Lines = append(p.Lines, f.mayLine(u))
		}
	}
	if h := f.Halted; h != nil && side == f.Side {
		p.Lines = append(p.Lines, f.say("battle.sheet.waiting", "lines", h.Rest))
	}
	p.Lines = append(p.Lines, f.say("battle.sheet.how"), f.say("battle.sheet.facts"))
	if side == f.Side {
		p.Lines = append(p.Lines, f.say("desk.example", "example", chat.Span{Kind: chat.Command, Text: "/order " + f.orderExample()}))
	}
	return p
}

// tellOrder makes the post of a sheet; when it hands over, of the whole turn.
func tellOrder(d *done, f field, typed []string) (told, error) {
	events, err := battleEvents(d.rec)
	if err != nil {
		return told{}, err
	}
	t := tale{before: f.at(d.before), after: f.at(d.after), rec: d.rec, events: events}
	if t.turnEnds() {
		t.wholeTurn()
	}
	post := chat.Post{Entry: int64(d.rec.Seq), Lines: t.lines(typed)}
	out := told{}
	f = t.after
	switch {
	case t.has("handed"):
		till := f.due(f.Terms.Hours)
		post.Lines = append(post.Lines, t.left(), t.score(), f.yourMove(till))
		post.Notify = []chat.Person{f.person(f.Side)}
		post.Files = []chat.Recipe{f.entriesFile(d.before, d.after.head.Size-1), f.view.checkpointFile()}
		post.Choices = t.choices(chat.Choice{Label: "Start my turn", Command: "/order", Who: []chat.Person{f.person(f.Side)}})
		set, err := f.clock(till)
		if err != nil {
			return out, err
		}
		out.set = set
		out.posts = []chat.Post{post, f.boardEdit(till)}
	case t.has("finished"):
		post.Lines = append(post.Lines, t.left())
		post.Choices = t.choices()
		more, err := f.over(d)
		if err != nil {
			return out, err
		}
		out.set = more.set
		out.posts = append([]chat.Post{post}, more.posts...)
	default:
		post.Lines = append(post.Lines, t.stands())
		post.Choices = t.choices(append(t.goOn(typed), t.takeBack()...)...)
		out.posts = []chat.Post{post}
	}
	out.posts[0].Lines = compact(out.posts[0].Lines)
	return out, nil
}

// compact leaves out empty lines.
func compact(lines []chat.Line) []chat.Line {
	var out []chat.Line
	for _, l := range lines {
		if len(l) > 0 {
			out = append(out, l)
		}
	}
	return out
}

// choices are what can be asked about a turn, after what comes first.
func (t tale) choices(first ...chat.Choice) []chat.Choice {
	list := first
	if len(t.rec.Faces) > 0 {
		seq := number64(t.rec.Seq)
		list = append(list, chat.Choice{Label: "Explain", Command: "/explain " + seq}, chat.Choice{Label: "Proof", Command: "/proof " + seq})
	}
	return choices(list...)
}

// goOn offers what waits after a sheet that was cut short.
func (t tale) goOn(typed []string) []chat.Choice {
	h := t.after.Halted
	if h == nil || len(h.Rest) == 0 || !t.has("stopped") || h.Rest[len(h.Rest)-1] > len(typed) {
		return nil
	}
	var rest []string
	for _, n := range h.Rest {
		rest = append(rest, typed[n-1])
	}
	return []chat.Choice{{Label: "Go on", Command: "/order " + strings.Join(rest, "; "), Once: true,
		Who: []chat.Person{t.after.person(t.after.Side)}}}
}
