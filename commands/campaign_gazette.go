package commands

import (
	"errors"
	"slices"
	"time"

	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
	"drumhead/storage"
)

const (
	// MostQuotes is how many of the players' own lines a gazette shows.
	MostQuotes = 5
	// quoteDepth is how far back in a ledger players' lines are looked for.
	quoteDepth = 1024
)

// gazette is one round on one page: what changed hands, the battles, who holds
// how much, the unit of note, the players' words, and what comes next. Of the
// present round it shows what stands so far.
func (t atlas) gazette(number int) ([]chat.Line, error) {
	r, _ := t.Numbered(number)
	lines := []chat.Line{t.headline(r)}
	for _, c := range r.Results {
		lines = append(lines, t.report(c))
	}
	lines = append(lines, t.counts(r))
	if note := t.note(r); note != nil {
		lines = append(lines, note)
	}
	quotes, err := t.quotes(r)
	if err != nil {
		return nil, err
	}
	lines = append(lines, quotes...)
	if number < t.Round-1 {
		return lines, nil
	}
	for _, c := range t.Claims {
		lines = append(lines, t.say("campaign.gazette.open", "battle", t.score(c.Score)))
	}
	if number < t.Round {
		lines = append(lines, t.say("campaign.gazette.next", "round", t.Round, "until", t.until()))
	}
	return lines, nil
}

// headline says the most important thing of a round.
func (t atlas) headline(r campaign.Round) chat.Line {
	var taken []campaign.Counted
	for _, c := range r.Results {
		if c.Outcome == campaign.Took {
			taken = append(taken, c)
		}
	}
	what := t.say("campaign.gazette.quiet")
	switch {
	case len(taken) == 1:
		what = t.say("campaign.gazette.one", "region", t.named(taken[0].Region))
	case len(taken) > 1:
		what = t.say("campaign.gazette.many", "n", len(taken))
	case len(r.Results) > 0:
		what = t.say("campaign.gazette.none")
	}
	if r.Number == t.Round {
		return t.say("campaign.gazette.so_far", "title", t.title(), "round", r.Number, "what", what, "until", t.until())
	}
	return t.say("campaign.gazette.head", "title", t.title(), "round", r.Number, "what", what)
}

// report is one battle in a line.
func (t atlas) report(c campaign.Counted) chat.Line {
	score := c.Score
	score.Region = ""
	if c.Region == "" {
		return t.say("campaign.gazette.away", "score", t.score(score))
	}
	return t.say("campaign.gazette.battle", "region", t.named(c.Region), "score", t.score(score), "outcome", t.outcome(c))
}

// outcome says in a few words what a battle did to its region.
func (t atlas) outcome(c campaign.Counted) chat.Line {
	if c.Outcome == campaign.Free {
		return nil
	}
	return t.say("campaign.outcome."+c.Outcome, "region", t.named(c.Region), "who", reason.Person(c.Winner))
}

// counts says how many regions each player holds, and that none was lost.
func (t atlas) counts(r campaign.Round) chat.Line {
	standing, held := r.Standing, r.Held
	if held == nil {
		standing, held = t.Standings(t.name), t.Holders
	}
	var line chat.Line
	for _, s := range campaign.Order(standing, t.name) {
		line = append(line, t.say("campaign.gazette.count", "who", reason.Person(s.Player), "n", s.Regions)...)
	}
	free := 0
	for _, h := range held {
		if h == "" {
			free++
		}
	}
	return t.say("campaign.gazette.regions", "counts", line, "free", free, "n", len(held))
}

// note is the unit of note, nil if no unit learnt anything.
func (t atlas) note(r campaign.Round) chat.Line {
	unit, rise, ok := r.Note()
	if !ok {
		return nil
	}
	name, _ := t.unit(unit.Player, unit.Unit)
	if rise != nil {
		return t.say("campaign.gazette.risen", "unit", name, "who", reason.Person(unit.Player), "grade", rise.To)
	}
	return t.say("campaign.gazette.note", "unit", name, "who", reason.Person(unit.Player), "n", unit.After-unit.Before)
}

// quotes are the players' own words of a round: from here, and from the places
// where its battles were played; of each player the last line.
func (t atlas) quotes(r campaign.Round) ([]chat.Line, error) {
	from, to, err := t.span(r.Number)
	if err != nil {
		return nil, err
	}
	views := []*view{t.view}
	for _, c := range r.Results {
		if c.Battle == nil {
			continue
		}
		v, err := t.ask.ledgerView(c.Battle.Ledger)
		if err != nil {
			return nil, err
		}
		if v != nil && !slices.Contains(views, v) && v.ledger != t.view.ledger {
			views = append(views, v)
		}
	}
	var found []quote
	for _, v := range views {
		list, err := t.ask.quoted(v, from, to)
		if err != nil {
			return nil, err
		}
		found = append(found, list...)
	}
	slices.SortStableFunc(found, func(a, b quote) int { return a.time.Compare(b.time) })
	found = lastOfEach(found)
	var lines []chat.Line
	for _, q := range found[max(0, len(found)-MostQuotes):] {
		lines = append(lines, t.say("campaign.gazette.quote", "who", t.ask.desk.who(q.by), "words", said(q.text)))
	}
	return lines, nil
}

// span is the time of a round: from the entry that began it to the one that
// closed it.
func (t atlas) span(number int) (from, to time.Time, err error) {
	from, err = t.ask.timeOf(t.view, t.Starts[number-1])
	to = t.ask.now
	if err == nil && number < len(t.Starts) && t.Starts[number] < t.view.head.Size {
		to, err = t.ask.timeOf(t.view, t.Starts[number])
	}
	return from, to, err
}

// quote is a line that somebody told.
type quote struct {
	by   chat.Person
	time time.Time
	text string
}

// lastOfEach keeps the last line of each person, in order.
func lastOfEach(list []quote) []quote {
	var out []quote
	for i, q := range list {
		later := slices.ContainsFunc(list[i+1:], func(o quote) bool { return o.by == q.by })
		if !later {
			out = append(out, q)
		}
	}
	return out
}

// quoted finds the lines told in a ledger in a stretch of time. Words that were
// hidden or forgotten are not there any more.
func (a *ask) quoted(v *view, from, to time.Time) ([]quote, error) {
	var out []quote
	var seqs []storage.Record
	first := v.head.Size - min(v.head.Size, quoteDepth)
	for e, err := range a.desk.store.Read(a.ctx, v.ledger, first, v.head.Size) {
		if err != nil {
			return nil, err
		}
		rec, err := storage.Parse(e.Bytes)
		if err != nil {
			return nil, err
		}
		if rec.Command == "tell" && !rec.Time.Before(from) && !rec.Time.After(to) {
			seqs = append(seqs, rec)
		}
	}
	for _, rec := range seqs {
		words, err := a.desk.spoken(a.ctx, v, rec.Seq)
		if err != nil {
			return nil, err
		}
		for _, w := range words {
			if w.Name == "tell" && v.person(rec.Player) != "" {
				out = append(out, quote{by: v.person(rec.Player), time: rec.Time, text: w.Text})
			}
		}
	}
	return out, nil
}

// timeOf is the time of an entry.
func (a *ask) timeOf(v *view, seq uint64) (time.Time, error) {
	for e, err := range a.desk.store.Read(a.ctx, v.ledger, seq, seq+1) {
		if err != nil {
			return time.Time{}, err
		}
		rec, err := storage.Parse(e.Bytes)
		return rec.Time, err
	}
	return a.now, nil // the entry that is just being made
}

// ledgerView is the view of a ledger by its id; nil if it is not here, or its
// place has a newer one.
func (a *ask) ledgerView(id string) (*view, error) {
	l, err := storage.ParseLedgerID(id)
	if err != nil {
		return nil, err
	}
	about, err := a.desk.store.About(a.ctx, l)
	if errors.Is(err, storage.ErrNone) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	v, err := a.there(chat.Place(about.Place))
	if err != nil || v.ledger != l {
		return nil, err
	}
	return v, nil
}
