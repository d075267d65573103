package commands

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfPeople keeps who has spoken to the bot: community, line end, person → somebody.
const shelfPeople = "people"

// MaxName is the most characters of a person's name that are kept.
const MaxName = 40

// somebody is what the desk keeps about a person in one community.
type somebody struct {
	Name  string `json:"name"`
	Runs  bool   `json:"runs,omitempty"`  // was seen as an organiser, when last they spoke
	Zone  string `json:"zone,omitempty"`  // IANA name, "" until /me zone
	Games []game `json:"games,omitempty"` // places where something of theirs goes on
}

// with adds what is known of the same person from another community: a zone and
// games are one's own, wherever one speaks.
func (s somebody) with(other somebody) somebody {
	s.Zone = cmp.Or(other.Zone, s.Zone)
	s.Games = slices.Clone(s.Games)
	for _, g := range other.Games {
		if !slices.Contains(s.Games, g) {
			s.Games = append(s.Games, g)
		}
	}
	return s
}

// game is a place where a person plays, for /due and for private commands.
type game struct {
	Place chat.Place `json:"place"`
	What  string     `json:"what"` // "battle" or "campaign"
}

// people is the desk's memory of persons, filled from the shelf when first needed.
type people struct {
	mu    sync.Mutex
	known map[chat.Person]somebody
	in    map[chat.Community][]chat.Person // in order of their ids
}

func newPeople() *people {
	return &people{known: map[chat.Person]somebody{}, in: map[chat.Community][]chat.Person{}}
}

// meet remembers who spoke and who was chosen, and what they are called, before
// the message is read.
func (d *Desk) meet(ctx context.Context, m chat.Message) error {
	if err := d.loadPeople(ctx, m.Community); err != nil {
		return err
	}
	for p, name := range m.Named {
		if err := d.introduce(ctx, m.Community, p, name, nil); err != nil {
			return err
		}
	}
	runs := &m.Organiser
	if m.Private { // a private conversation has no organisers
		runs = nil
	}
	return d.introduce(ctx, m.Community, m.Person, m.Name, runs)
}

// introduce remembers what a person is called in a community, and whether they run it;
// nil if that is not known now.
func (d *Desk) introduce(ctx context.Context, c chat.Community, p chat.Person, name string, runs *bool) error {
	d.people.mu.Lock()
	s, known := d.people.known[p]
	_, here := slices.BinarySearch(d.people.in[c], p)
	d.people.mu.Unlock()
	if runs == nil {
		runs = &s.Runs
	}
	if name = cleanName(name); name == "" { // nothing to be seen: the name before, or none
		name = cmp.Or(s.Name, d.words.Bare("desk.somebody"))
	}
	if known && here && s.Name == name && s.Runs == *runs || p == "" {
		return nil
	}
	s.Name, s.Runs = name, *runs
	return d.keep(ctx, c, p, s)
}

// keep stores what is known about a person.
func (d *Desk) keep(ctx context.Context, c chat.Community, p chat.Person, s somebody) error {
	if err := d.loadPeople(ctx, c); err != nil {
		return err
	}
	b, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := d.store.Shelf(shelfPeople).Put(ctx, storage.KeyValue{Key: string(c) + "\n" + string(p), Value: b}); err != nil {
		return err
	}
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	if i, here := slices.BinarySearch(d.people.in[c], p); !here {
		d.people.in[c] = slices.Insert(d.people.in[c], i, p)
	}
	d.people.known[p] = s
	return nil
}

func (d *Desk) loadPeople(ctx context.Context, c chat.Community) error {
	d.people.mu.Lock()
	_, loaded := d.people.in[c]
	d.people.mu.Unlock()
	if loaded {
		return nil
	}
	found := map[chat.Person]somebody{}
	for kv, err := range d.store.Shelf(shelfPeople).Each(ctx, string(c)+"\n") {
		if err != nil {
			return err
		}
		var s somebody
		if err := json.Unmarshal(kv.Value, &s); err != nil {
			return err
		}
		found[chat.Person(strings.TrimPrefix(kv.Key, string(c)+"\n"))] = s
	}
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	ids := make([]chat.Person, 0, len(found))
	for p, s := range found {
		d.people.known[p] = s.with(d.people.known[p])
		ids = append(ids, p)
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	d.people.in[c] = ids
	return nil
}

// somebody returns what is known about a person.
func (d *Desk) somebody(p chat.Person) somebody {
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	return d.people.known[p]
}

// named finds the persons of a community whose id or name is (or, if none, begins
// with) the one given, without regard to case. Of several who are called just so
// none goes first: one of them may have taken the other's name.
func (d *Desk) named(c chat.Community, name string) []chat.Person {
	name = strings.ToLower(strings.TrimPrefix(strings.TrimSpace(name), "@"))
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	if _, chosen := slices.BinarySearch(d.people.in[c], chat.Person(name)); chosen {
		return []chat.Person{chat.Person(name)}
	}
	var exact, begins []chat.Person
	for _, p := range d.people.in[c] {
		n := strings.ToLower(d.people.known[p].Name)
		switch {
		case name == "":
		case n == name:
			exact = append(exact, p)
		case strings.HasPrefix(n, name):
			begins = append(begins, p)
		}
	}
	if len(exact) > 0 {
		return exact
	}
	return begins
}

// organisers are the persons of a community who were seen as one, in order of their ids.
func (d *Desk) organisers(c chat.Community) []chat.Person {
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	var out []chat.Person
	for _, p := range d.people.in[c] {
		if d.people.known[p].Runs {
			out = append(out, p)
		}
	}
	return out
}

// who is the span that shows a person.
func (d *Desk) who(p chat.Person) chat.Span {
	return chat.Span{Kind: chat.Who, Person: p, Text: d.somebody(p).Name}
}

// when is the span that shows a time to a person: their zone's time, or UTC.
func (d *Desk) when(t time.Time, p chat.Person) chat.Span {
	return chat.Span{Kind: chat.When, Time: t.UTC(), Zone: d.somebody(p).Zone}
}

// find settles whom a name means, or refuses: nobody, or too many.
func (a *ask) find(name, example string) (chat.Person, error) {
	list := a.desk.named(a.msg.Community, name)
	switch len(list) {
	case 0:
		return "", refuse(example, "desk.refuse.nobody", "name", said(name))
	case 1:
		return list[0], nil
	}
	var names chat.Line
	for i, p := range list {
		if i > 0 {
			names = append(names, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		names = append(names, a.desk.who(p))
	}
	return "", refuse(example, "desk.refuse.many", "name", said(name), "names", names)
}

// said is a span of a stranger's words.
func said(s string) chat.Span { return chat.Span{Kind: chat.Said, Text: s} }

// plays remembers that a person has something going on in a place; ends forgets it.
func (d *Desk) plays(ctx context.Context, c chat.Community, p chat.Person, g game) error {
	s := d.somebody(p)
	for _, have := range s.Games {
		if have == g {
			return nil
		}
	}
	s.Games = append(append([]game{}, s.Games...), g)
	return d.keep(ctx, c, p, s)
}

func (d *Desk) ends(ctx context.Context, c chat.Community, p chat.Person, g game) error {
	s := d.somebody(p)
	var left []game
	for _, have := range s.Games {
		if have != g {
			left = append(left, have)
		}
	}
	if len(left) == len(s.Games) {
		return nil
	}
	s.Games = left
	return d.keep(ctx, c, p, s)
}

// mostMarks is how many marks may stand on one letter of a name.
const mostMarks = 3

// cleanName makes a person's name fit to be shown: nothing in it that nobody sees,
// no letter under a tower of marks, not longer than MaxName. Empty if nothing is
// left to be seen.
func cleanName(s string) string {
	var b strings.Builder
	n, marks, seen := 0, 0, false
	for _, r := range strings.TrimSpace(s) {
		switch {
		case r == utf8.RuneError, unicode.IsControl(r), blank(r), unicode.Is(unicode.Cf, r) && r != zeroWidthJoiner:
			continue
		case unicode.IsSpace(r):
			r = ' '
		case unicode.In(r, unicode.Mn, unicode.Me):
			if marks++; marks > mostMarks {
				continue
			}
		default:
			marks, seen = 0, seen || r != zeroWidthJoiner
		}
		if n++; n > MaxName {
			break
		}
		b.WriteRune(r)
	}
	if !seen {
		return ""
	}
	return strings.TrimSpace(b.String())
}

// zeroWidthJoiner holds the parts of one picture sign together.
const zeroWidthJoiner = '\u200d'

// blank tells letters and signs that show nothing.
func blank(r rune) bool {
	return r == '\u115f' || r == '\u1160' || r == '\u2800' || r == '\u3164' || r == '\uffa0'
}

// peopleNames lists the names of a community's persons.
func (d *Desk) peopleNames(c chat.Community) []string {
	d.people.mu.Lock()
	defer d.people.mu.Unlock()
	out := make([]string, 0, len(d.people.in[c]))
	for _, p := range d.people.in[c] {
		out = append(out, d.people.known[p].Name)
	}
	return out
}
