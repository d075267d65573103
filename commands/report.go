package commands

import (
	"context"
	"fmt"
	"strings"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// planReport gives the battle so far as a page.
func planReport(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	p := a.post(f.boardLine(f.till()))
	p.Files = f.reportFiles(f.view.head.Size - 1)
	return only(p)
}

// reportFiles are the battle's page up to an entry, and the charts of both sides'
// dice, which the page shows.
func (f field) reportFiles(last uint64) []chat.Recipe {
	return []chat.Recipe{{Kind: "report", Ledger: f.view.ledger.String(), First: int64(f.seq), Last: int64(last),
		Name: slug(string(f.title())) + ".md"}, f.luckFile(0, last), f.luckFile(1, last)}
}

// entriesFile is the entries of the turn that ends with an entry: the chat is
// the second copy of the ledger.
func (f field) entriesFile(before *view, last uint64) chat.Recipe {
	turn, side := f.Turn, battle.Other(f.Side)
	if side != f.First { // the first player's turn n was followed by this one
		turn = f.Turn - 1
	}
	first := f.ask.turnBegan(before, f.seq, last)
	return chat.Recipe{Kind: "entries", Ledger: f.view.ledger.String(), First: int64(first), Last: int64(last),
		Name: fmt.Sprintf("%s-turn%d%s.jsonl", slug(string(f.title())), max(turn, 1), "ab"[side:side+1])}
}

// turnBegan finds the entry after the one that handed the turn over.
func (a *ask) turnBegan(v *view, begin, last uint64) uint64 {
	first := begin
	if stored, err := a.there(v.place); err == nil { // of a sheet in parts the last is not stored yet
		last = min(last, max(begin, stored.head.Size))
	}
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, begin, last) {
		if err != nil {
			return begin
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return begin
		}
		for _, e := range rec.Events {
			if strings.Contains(string(e), `"type":"handed"`) {
				first = rec.Seq + 1
			}
		}
	}
	return first
}

// slug is a title as the name of a file.
func slug(title string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '-'
	}, title), "-")
}

// page is a battle report as it is written.
type page struct {
	strings.Builder
	ask  *ask
	view *view
	seq  uint64
	end  uint64 // the entry that ended the battle, 0 if none did

	from, to time.Time // from when to when it was played

	began map[turnOf]field // the battle as each turn began: an undone one is told again
	turns strings.Builder  // turns told to their end
	now   strings.Builder  // the turn that is being told
}

// turnOf is whose turn of which number.
type turnOf struct{ turn, side int }

// makeReport writes the page of a battle in Markdown: result, forces, turns, the
// players' own words, and how to check it.
func makeReport(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	a, l, err := d.asking(ctx, r)
	if err != nil {
		return nil, err
	}
	p := &page{ask: a, view: a.here, seq: uint64(r.First), began: map[turnOf]field{}}
	return p.write(ctx, l, uint64(r.Last))
}

// asking is a question that nobody asked: the place of a recipe's ledger as it
// stands now, with what people there are called.
func (d *Desk) asking(ctx context.Context, r chat.Recipe) (*ask, storage.LedgerID, error) {
	l, err := storage.ParseLedgerID(r.Ledger)
	if err != nil {
		return nil, l, err
	}
	about, err := d.store.About(ctx, l)
	if err != nil {
		return nil, l, err
	}
	a := d.ask(chat.Message{Community: chat.Community(about.Community), Place: chat.Place(about.Place)})
	a.ctx = ctx
	if err := d.loadPeople(ctx, a.msg.Community); err != nil {
		return nil, l, err
	}
	a.here, err = d.view(ctx, a.msg.Place)
	return a, l, err
}

// write goes through the ledger once: what belongs to the battle is told.
func (p *page) write(ctx context.Context, l storage.LedgerID, last uint64) ([]byte, error) {
	game := proof.NewGame(p.ask.desk.file)
	var story strings.Builder
	var f field
	var told history
	tallies := proof.NewTallies(p.ask.desk.file, proof.Span{Battle: p.seq})
	for raw, err := range p.ask.desk.store.Read(ctx, l, 0, last+1) {
		if err != nil {
			return nil, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return nil, err
		}
		if err := tallies.Entry(rec); err != nil {
			return nil, err
		}
		before := game
		if game, err = game.Take(rec); err != nil {
			return nil, err
		}
		rec, whole := told.next(rec)
		if rec.Seq < p.seq || !whole {
			continue
		}
		if rec.Command == battle.CommandBegin && rec.Seq > p.seq {
			break
		}
		if rec.Command == "tell" {
			p.words(&story, rec)
			continue
		}
		if of, ok := battleOfRecord(rec); !ok || of != p.seq {
			continue
		}
		was, is := p.field(before), p.field(game)
		if rec.Seq == p.seq {
			was = is
			p.began[turnOf{is.Turn, is.Side}] = is
			p.turns.WriteString(p.line(is, "battle.page.first", "player", is.player(is.First)))
		}
		if f = is; was.Stage < battle.Over { // what comes then only settles the result
			p.to = rec.Time
		}
		if rec.Seq == p.seq {
			p.from = rec.Time
		}
		if p.end == 0 && is.Stage == battle.Ended {
			p.end = rec.Seq
		}
		if err := p.turn(was, is, rec); err != nil {
			return nil, err
		}
	}
	p.head(f)
	p.charts(f, tallies)
	p.unfinished(f)
	p.WriteString("\n" + p.line(f, "battle.page.turns") + p.turns.String())
	if story.Len() > 0 {
		p.WriteString("\n" + p.line(f, "battle.page.words") + story.String())
	}
	p.WriteString("\n" + p.line(f, "battle.page.check", "ledger", l.String(), "first", int(p.seq), "last", int(last)))
	return []byte(p.String()), nil
}

// battleOfRecord is the battle that an entry belongs to.
func battleOfRecord(rec storage.Record) (uint64, bool) {
	if rec.Command == battle.CommandBegin {
		return rec.Seq, true
	}
	value, ok := storage.Member(rec.Args, "battle")
	if !ok || !(proof.Battling{}).Owns(rec.Command) {
		return 0, false
	}
	n, ok := storage.Number(value)
	return n, ok
}

// field is the battle of this page in a game.
func (p *page) field(g proof.Game) field {
	v := *p.view
	v.game = g
	f := field{ask: p.ask, view: &v, seq: p.seq, State: proof.BattlesOf(g).Begun[p.seq]}
	f.Names, _ = p.ask.unitNames(p.view, p.seq)
	return f
}

// line is a sentence of the catalogue as Markdown.
func (p *page) line(f field, id string, pairs ...any) string {
	return words.Flat(f.say(id, pairs...)) + "\n"
}

func (p *page) head(f field) {
	p.WriteString(p.line(f, "battle.page.title", "title", f.title(), "one", f.player(0), "two", f.player(1)))
	p.WriteString("\n" + p.when(f) + "\n" + p.terms(f))
	for _, l := range f.resultLines() {
		p.WriteString("\n" + markdown(words.Flat(l)) + "\n")
	}
	for _, l := range p.campaign(f) {
		p.WriteString("\n" + markdown(words.Flat(l)) + "\n")
	}
	p.WriteString("\n" + p.line(f, "battle.page.table"))
	for _, u := range f.Units {
		fate := "battle.page.stands"
		if u.Gone != "" {
			fate = "battle.page." + u.Gone
		}
		p.WriteString(p.line(f, "battle.page.unit", "player", f.player(u.Side), "unit", markdown(f.Name(u.ID)), "points", f.cost(u), "size", u.Size, "left", p.left(f, u),
			"broke", len(u.Broke), "fate", f.say(fate)))
	}
}

// when says when the battle was played.
func (p *page) when(f field) string {
	const day = "2 Jan 2006, 15:04"
	if f.Stage < battle.Over {
		return p.line(f, "battle.page.when_from", "from", p.from.UTC().Format(day))
	}
	return p.line(f, "battle.page.when", "from", p.from.UTC().Format(day), "to", p.to.UTC().Format(day))
}

// terms says for how many points it was played, and by which rules.
func (p *page) terms(f field) string {
	var cost [2]int
	for _, u := range f.Units {
		cost[u.Side] += f.cost(u)
	}
	return markdown(words.Flat(f.say("battle.page.terms", "points", f.Terms.Points, "one", f.player(0), "mine", cost[0], "two", f.player(1), "theirs", cost[1],
		"turns", f.Terms.Turns, "pack", reason.Name(f.Pack.Title), "edition", f.Terms.Edition))) + "\n"
}

// cost is the points of a unit as it came.
func (f field) cost(u battle.Unit) int { return f.Pack.Unit(u.Kind).Points(u.Size, f.Pack) }

// left is how many models of a unit are left; of one that has lost some of itself
// how much of it.
func (p *page) left(f field, u battle.Unit) any {
	if left, all, name := f.worn(u); u.Size == 1 && u.Stands() && left < all {
		return f.say("battle.page.worn", "left", left, "all", all, "name", name)
	}
	return u.Left
}

// charts shows both sides' dice, as pictures that lie beside the page.
func (p *page) charts(f field, tallies *proof.Tallies) {
	p.WriteString("\n" + p.line(f, "battle.page.dice"))
	for side, player := range f.Players {
		if scene, ok := p.ask.sideLuck(tallies, player); ok {
			fmt.Fprintf(p, "\n![%s](%s)\n", markdown(scene.Alt), luckFileName(f, side))
		}
	}
}

// campaign is what the battle did to the campaign whose region was at stake: the
// region, and the units that reached a grade.
func (p *page) campaign(f field) []chat.Line {
	if p.end == 0 || f.Terms.Campaign == "" {
		return nil
	}
	t, err := p.ask.campaignOf(f.Terms)
	if err != nil {
		return nil
	}
	for raw, err := range p.ask.desk.store.Read(p.ask.ctx, t.view.ledger, 0, t.view.head.Size) {
		if err != nil {
			return nil
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return nil
		}
		if lines := t.ofBattle(rec, p.view.ledger.String(), int64(p.end)); lines != nil {
			return lines
		}
	}
	return nil
}

// resultLines are the summary, and who won once that is settled.
func (f field) resultLines() []chat.Line {
	if f.Stage == battle.Playing {
		return []chat.Line{f.boardLine(time.Time{})}
	}
	lines := f.summary()
	if f.Stage == battle.Ended {
		lines = append(lines, f.result())
	}
	return lines
}

// turn tells one entry; at the end of a turn all of it stands under its headline.
func (p *page) turn(was, is field, rec storage.Record) error {
	events, err := battleEvents(rec)
	if err != nil {
		return err
	}
	if len(events) > 0 && events[0].Type() == "undone" {
		events = events[:1] // what stands was told when it happened
	}
	t := tale{before: was, after: is, rec: rec, events: events, start: p.began[turnOf{was.Turn, was.Side}], all: true}
	for _, line := range append(t.body(everything), t.stopped(nil)...) {
		if text := words.Flat(line); text != "" {
			p.now.WriteString("- " + markdown(text) + "\n")
		}
	}
	if t.turnEnds() {
		p.now.WriteString("- " + markdown(words.Flat(t.score())) + "\n")
		p.under(strings.TrimSuffix(words.Flat(t.headline()), "."))
		p.began[turnOf{is.Turn, is.Side}] = is
	}
	return nil
}

// under ends the turn that is being told, with its heading.
func (p *page) under(heading string) {
	fmt.Fprintf(&p.turns, "\n### %s\n\n%s", markdown(heading), p.now.String())
	p.now.Reset()
}

// unfinished tells what came after the last turn that was played to its end.
func (p *page) unfinished(f field) {
	switch {
	case p.now.Len() == 0:
	case f.Stage == battle.Playing:
		p.under(words.Flat(f.say("battle.page.so_far", "player", f.player(f.Side), "turn", f.Turn)))
	default:
		p.turns.WriteString("\n" + p.now.String())
	}
}

// words are what a player told, unless it was hidden.
func (p *page) words(out *strings.Builder, rec storage.Record) {
	list, err := p.ask.desk.spoken(p.ask.ctx, p.view, rec.Seq)
	if err != nil {
		return
	}
	for _, w := range list {
		out.WriteString("\n> " + markdown(w.Text) + "\n>\n> " + markdown(p.view.who(rec.Player).Text) + "\n")
	}
}

// markdown keeps what people wrote from being taken for Markdown.
func markdown(s string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "_", `\_`, "`", "\\`", "[", `\[`, "]", `\]`, "<", "&lt;", "|", `\|`, "\n", " ").Replace(s)
}
