package commands

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// ShelfHidden keeps which entries' words are hidden: ledger/seq → by whom and when.
// The words themselves stay beside the entry, so that they can be put back; what
// leaves this house (an export, a report) goes without them.
const ShelfHidden = "hidden"

// HiddenKey is the key of an entry on that shelf.
func HiddenKey(l storage.LedgerID, seq uint64) string { return l.String() + "/" + number64(seq) }

// hiding is who hid something, and when.
type hiding struct {
	By   chat.Person `json:"by"`
	Time time.Time   `json:"time"`
}

func hideCommands() []command {
	return []command{{
		Spec: args.Spec{Name: "hide", Mode: args.Private, Help: "hide the words of a post; the dice stay", Example: "/hide 412", OnPost: "Hide words",
			Params: []args.Param{{Name: "entry", Kind: args.Entry, Help: "the number of the post"},
				{Name: "back", Kind: args.Word, Optional: true, Help: "organiser: back, to show them again; show, to read them alone"}}},
		plan: planHide,
	}}
}

// planHide hides the words behind an entry, or puts them back. It makes no entry:
// what the ledger holds stays as it is, and still verifies.
func planHide(a *ask) (*answer, error) {
	if !a.here.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	seq, _, _ := a.values.Entry("entry")
	if seq >= a.here.head.Size {
		return nil, refuse("", "entry.refuse.none", "entry", number(int64(seq)), "last", number(int64(a.here.head.Size-1)))
	}
	rec, err := a.record(a.here, seq)
	if err != nil {
		return nil, err
	}
	list, err := a.desk.store.Words(a.ctx, a.here.ledger, seq)
	if err != nil && !errors.Is(err, storage.ErrNone) {
		return nil, err
	}
	was, hidden, err := a.desk.hidden(a.ctx, a.here.ledger, seq)
	if err != nil {
		return nil, err
	}
	say, shelf := a.say, a.desk.store.Shelf(ShelfHidden)
	slots := []any{"entry", number(int64(seq)), "who", a.here.who(rec.Player)}
	if strings.EqualFold(a.value("back"), "show") && a.msg.Organiser && hidden {
		return only(a.shownAlone(rec, list))
	}
	if strings.EqualFold(a.value("back"), "back") || strings.EqualFold(a.value("back"), "show") {
		switch {
		case !a.msg.Organiser:
			return nil, refuse("", "hide.refuse.organiser", slots...)
		case !hidden:
			return nil, refuse("", "hide.refuse.shown", slots...)
		}
		if err := shelf.Put(a.ctx, storage.KeyValue{Key: HiddenKey(a.here.ledger, seq)}); err != nil {
			return nil, err
		}
		return a.changedPosts(rec, list, false, a.post(say("hide.back", append(slots, "by", a.desk.who(was.By))...)))
	}
	switch {
	case len(list) == 0:
		return nil, refuse("", "hide.refuse.wordless", slots...)
	case hidden:
		return nil, refuse("", "hide.refuse.already", slots...)
	}
	b, err := json.Marshal(hiding{By: a.msg.Person, Time: a.now})
	if err != nil {
		return nil, err
	}
	if err := shelf.Put(a.ctx, storage.KeyValue{Key: HiddenKey(a.here.ledger, seq), Value: b}); err != nil {
		return nil, err
	}
	answer := a.post(say("hide.done", slots...), say("hide.kept"), say("hide.rules"))
	if a.msg.Organiser {
		answer.Choices = choices(chat.Choice{Label: "Put back", Command: "/hide " + number64(seq) + " back"})
	}
	return a.changedPosts(rec, list, true, append([]chat.Post{answer}, a.tellOrganisers(rec)...)...)
}

// shownAlone is what was hidden, for an organiser's eyes.
func (a *ask) shownAlone(rec storage.Record, list []storage.Word) chat.Post {
	p := a.post()
	for _, w := range list {
		p.Lines = append(p.Lines, a.say("hide.shown", "who", a.here.who(rec.Player), "words", said(w.Text), "entry", number(int64(rec.Seq))))
	}
	p.Choices = choices(chat.Choice{Label: "Put back", Command: "/hide " + number64(rec.Seq) + " back", Place: a.here.place})
	return p
}

// cutFor is the entry that cut a command which waited, 0 for none.
func (a *ask) cutFor(seq uint64) (uint64, error) {
	for raw, err := range a.desk.store.Read(a.ctx, a.here.ledger, seq+1, min(a.here.head.Size, seq+1+proof.Reach)) {
		if err != nil {
			return 0, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return 0, err
		}
		if of, ok := entryOf(rec); ok && of == seq && rec.Command == "cut" {
			return rec.Seq, nil
		}
	}
	return 0, nil
}

// without takes words out of a post, wherever they are shown, its pictures included;
// false if they are not. What is left of a line that went on goes to the line before.
func without(p *chat.Post, hide []storage.Word, instead chat.Line) bool {
	gone := shownIn(p.Lines, hide)
	found := false
	var lines []chat.Line
	for n, line := range p.Lines {
		var kept chat.Line
		lost := false
		for i, s := range line {
			if !gone[spot{n, i}] {
				kept = append(kept, s)
				continue
			}
			if !found {
				kept = append(kept, instead...)
			}
			found, lost = true, true
		}
		if lost && len(lines) > 0 && len(kept) > 0 && strings.HasPrefix(kept[0].Text, "  ") {
			kept[0].Text = strings.TrimPrefix(kept[0].Text, "  ")
			lines[len(lines)-1] = append(lines[len(lines)-1], kept...)
			continue
		}
		lines = append(lines, kept)
	}
	p.Lines = lines
	p.Pictures = slices.DeleteFunc(p.Pictures, func(r chat.Recipe) bool {
		return slices.ContainsFunc(hide, func(w storage.Word) bool { return strings.Contains(letters(r.Alt), letters(w.Text)) })
	})
	return found
}

// spot is where a span stands: the line, and which of that.
type spot struct{ line, span int }

// shownIn finds the spans that show words, or a part of them. A post folds long words,
// so that what stands at a line's end may go on in the next line.
func shownIn(lines []chat.Line, hide []storage.Word) map[spot]bool {
	gone := map[spot]bool{}
	for n, line := range lines {
		for i, s := range line {
			if s.Kind != chat.Said || gone[spot{n, i}] {
				continue
			}
			for _, w := range hide {
				text, run := letters(s.Text), []spot{{n, i}}
				for next, ok := goesOn(lines, run[0]); ok; next, ok = goesOn(lines, next) {
					longer := text + letters(lines[next.line][next.span].Text)
					if !strings.Contains(letters(w.Text), longer) {
						break
					}
					text, run = longer, append(run, next)
				}
				if !partOf(text, letters(w.Text)) {
					continue
				}
				for _, one := range run {
					gone[one] = true
				}
			}
		}
	}
	return gone
}

// goesOn is where words go on that end a line: at the next one's beginning, if at all.
func goesOn(lines []chat.Line, from spot) (spot, bool) {
	if from.span < len(lines[from.line])-1 || from.line == len(lines)-1 {
		return spot{}, false
	}
	for i, s := range lines[from.line+1] {
		if s.Kind == chat.Said {
			return spot{from.line + 1, i}, true
		}
		if strings.TrimSpace(s.Text) != "" {
			break
		}
	}
	return spot{}, false
}

// letters are words by which they are known again: a post shows them with other spaces,
// and with apostrophes for quotes.
func letters(text string) string {
	return strings.ReplaceAll(strings.Join(strings.Fields(text), ""), "\"", "'")
}

// leastPart is how long a piece of words must be to be taken for one: a name may be as
// short as any part of them.
const leastPart = 12

func partOf(text, words string) bool {
	return text == words || len(text) >= leastPart && strings.Contains(words, text)
}

// hidden tells who hid the words of an entry, if somebody did.
func (d *Desk) hidden(ctx context.Context, l storage.LedgerID, seq uint64) (hiding, bool, error) {
	var h hiding
	b, err := d.store.Shelf(ShelfHidden).Get(ctx, HiddenKey(l, seq))
	if errors.Is(err, storage.ErrNone) {
		return h, false, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &h)
	}
	return h, err == nil, err
}

// spoken is the words beside an entry, for showing; none of what was hidden.
func (d *Desk) spoken(ctx context.Context, v *view, seq uint64) ([]storage.Word, error) {
	list, err := d.store.Words(ctx, v.ledger, seq)
	if errors.Is(err, storage.ErrNone) || err == nil && len(list) == 0 {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if _, hidden, err := d.hidden(ctx, v.ledger, seq); hidden || err != nil {
		return nil, err
	}
	return list, nil
}

// record reads one entry.
func (a *ask) record(v *view, seq uint64) (rec storage.Record, err error) {
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, seq, seq+1) {
		if err != nil {
			return rec, err
		}
		return storage.Parse(raw.Bytes)
	}
	return rec, storage.ErrNone
}
