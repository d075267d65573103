package campaign

import (
	"bytes"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// dealer makes up commands, sensible and senseless, from one seed.
type dealer struct {
	*rand.Rand
	file    *File
	battles int64
}

func (d *dealer) player() string { return "p" + strconv.Itoa(1+d.IntN(8)) }

func (d *dealer) region() string {
	if d.IntN(6) == 0 {
		return ""
	}
	return d.file.Regions[d.IntN(len(d.file.Regions))].ID
}

func (d *dealer) score() Score {
	s := Score{Players: []string{d.player(), d.player()}, Region: d.region()}
	if d.IntN(4) > 0 {
		s.Scores = []int{d.IntN(4), d.IntN(4)}
	}
	if d.IntN(8) > 0 {
		s.Winner = s.Players[d.IntN(2)]
	}
	return s
}

func (d *dealer) command(s State) Command {
	score := d.score()
	switch d.IntN(20) {
	case 0:
		return Command{d.player(), Start{File: "osier", SHA256: d.file.SHA256, Organiser: d.IntN(2) > 0}}
	case 1, 2, 3:
		return Command{d.player(), Join{Home: []string{"", d.region()}[d.IntN(2)]}}
	case 4, 5, 6, 7:
		return Command{score.Players[0], Report{Score: score, Until: d.Int64N(1 << 41)}}
	case 8, 9, 10:
		return Command{d.player(), Agree{Claim: max(1, s.Claimed-d.IntN(3))}}
	case 11:
		return Command{d.player(), Object{Claim: max(1, s.Claimed-d.IntN(3))}}
	case 12:
		return Command{Bot, Result{How: HowUnopposed, Claim: max(1, s.Claimed-d.IntN(3))}}
	case 13:
		return Command{d.player(), Result{How: HowRuled, Organiser: d.IntN(2) > 0, Score: &score}}
	case 14:
		return Command{Bot, Close{Round: s.Round - d.IntN(2), Until: d.Int64N(1 << 41)}}
	}
	d.battles += int64(d.IntN(2)) // now and then the same battle twice
	r := Result{How: HowBattle, Score: &score,
		Battle: &Battle{Ledger: strings.Repeat("b", 26), Seq: d.battles, Leaf: strings.Repeat("c", 64)}}
	for _, p := range score.Players {
		for u := range d.IntN(3) {
			r.Units = append(r.Units, Deeds{Player: p, Unit: "pikes " + strconv.Itoa(u+1), Fought: d.IntN(2) > 0,
				Broke: d.IntN(3), Fell: d.IntN(4) == 0})
		}
	}
	return Command{Bot, r}
}

// invariants hold after every command of every history.
func invariants(t *testing.T, s State) {
	t.Helper()
	if len(s.Holders) != len(s.File.Regions) {
		t.Fatalf("%d regions have a holder's place, the map has %d", len(s.Holders), len(s.File.Regions))
	}
	held := 0
	for _, line := range s.standing() {
		held += line.Regions
	}
	for i, h := range s.Holders {
		if h == "" {
			held++
		} else if _, ok := s.Player(h); !ok {
			t.Fatalf("%s is held by %s, who never joined", s.File.Regions[i].ID, h)
		}
	}
	if held != len(s.File.Regions) {
		t.Fatalf("%d regions counted, %d on the map: one has two holders or is lost", held, len(s.File.Regions))
	}
	homes := map[string]bool{}
	won, lost := 0, 0
	for _, p := range s.Players {
		if homes[p.Home] {
			t.Fatalf("two players have the home %s", p.Home)
		}
		homes[p.Home] = true
		won, lost = won+p.Won, lost+p.Lost
	}
	if won != lost {
		t.Fatalf("%d battles won and %d lost", won, lost)
	}
	counted := map[Battle]bool{}
	for _, r := range rounds(s) {
		for _, c := range r.Results {
			if c.Battle != nil && counted[*c.Battle] {
				t.Fatalf("battle %d counted twice", c.Battle.Seq)
			} else if c.Battle != nil {
				counted[*c.Battle] = true
			}
		}
	}
	for _, u := range s.Units {
		if u.Experience < 0 || u.Experience > MaxCareer {
			t.Fatalf("%s %s has %d experience", u.Player, u.Key, u.Experience)
		}
	}
	for _, c := range s.Claims {
		if c.Number > s.Claimed {
			t.Fatalf("claim %d of %d", c.Number, s.Claimed)
		}
	}
	if s.Round != s.Now.Number || s.Round > 0 && s.Round != len(s.Past)+1 {
		t.Fatalf("round %d, %d closed ones kept", s.Round, len(s.Past))
	}
}

func rounds(s State) []Round { return append(slices.Clone(s.Past), s.Now) }

// Histories from seeds: invariants after each command, what Decide refuses
// changes nothing, and the fold of the events as read back from JSON is the
// live state.
func TestRandomHistories(t *testing.T) {
	f := osier(t)
	var accepted, taken, rises int
	for seed := range uint64(60) {
		d := &dealer{Rand: rand.New(rand.NewPCG(seed, 1)), file: f}
		live, replayed := New(f), New(f)
		for range 250 {
			c := d.command(live)
			events, err := Decide(live, c)
			if (Check(live, c) == nil) != (err == nil) {
				t.Fatalf("seed %d: Check and Decide differ on %+v", seed, c)
			}
			if err != nil {
				refusal(t, err)
				continue
			}
			accepted++
			roundTrip(t, c)
			for _, e := range events {
				replayed = replayed.Apply(reread(t, e))
				live = live.Apply(e)
			}
			invariants(t, live)
		}
		if !reflect.DeepEqual(live, replayed) {
			t.Fatalf("seed %d: the fold from JSON is another state", seed)
		}
		for _, r := range rounds(live) {
			taken, rises = taken+len(r.Taken), rises+len(r.Rises)
		}
	}
	if accepted < 1500 || taken < 500 || rises < 200 {
		t.Errorf("the histories are too dull to prove anything: %d commands, %d regions taken, %d rises", accepted, taken, rises)
	}
}

// Apply never changes the state before: a history goes on from any point.
func TestStatesAreValues(t *testing.T) {
	d := &dealer{Rand: rand.New(rand.NewPCG(7, 7)), file: osier(t)}
	type moment struct {
		state State
		event Event
	}
	var moments []moment
	s := New(d.file)
	for range 400 {
		events, err := Decide(s, d.command(s))
		if err != nil {
			continue
		}
		for _, e := range events {
			moments = append(moments, moment{s, e})
			s = s.Apply(e)
		}
	}
	next := s
	for i := len(moments) - 1; i >= 0; i-- {
		if got := moments[i].state.Apply(moments[i].event); !reflect.DeepEqual(got, next) {
			t.Fatalf("moment %d: another state than the first time", i)
		}
		next = moments[i].state
	}
}

func reread(t *testing.T, e Event) Event {
	t.Helper()
	b, err := MarshalEvent(e)
	if err != nil {
		t.Fatalf("%+v: %v", e, err)
	}
	if bytes.ContainsFunc(b, func(r rune) bool { return r < ' ' || r > '~' }) {
		t.Fatalf("%s: not printable ASCII", b)
	}
	again, err := ParseEvent(b)
	if err != nil {
		t.Fatalf("%s: %v", b, err)
	}
	if !reflect.DeepEqual(e, again) {
		t.Fatalf("%s: read back as %+v", b, again)
	}
	return again
}

func roundTrip(t *testing.T, c Command) {
	t.Helper()
	b, err := MarshalArgs(c.Act)
	if err != nil {
		t.Fatal(err)
	}
	again, err := ParseCommand(c.By, c.Act.Name(), b)
	if err != nil {
		t.Fatalf("%s: %v", b, err)
	}
	if !reflect.DeepEqual(c, again) {
		t.Fatalf("%s: read back as %+v, was %+v", b, again, c)
	}
}

func TestOneSpelling(t *testing.T) {
	good := `{"by":"p1","claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`
	if _, err := ParseEvent([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{
		`{"claim":1,"by":"p1","players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1", "claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1","claim":1,"claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"By":"p1","claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1","claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"weather":1,"winner":"p1"}`,
		`{"by":"p1","claim":1.0,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"against":0,"by":"p1","claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1","claim":1,"players":["p1","p2"],"type":"campaign.claimed","until":5,"winner":"p3"}`,
		`{"by":"p1","claim":1,"players":["p1","Ann"],"type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1","claim":1,"players":["p1","p2"],"region":"Älder","type":"campaign.claimed","until":5,"winner":"p1"}`,
		`{"by":"p1","claim":1,"players":["p1","p2"],"type":"campaign.shouted","winner":"p1"}`,
		good + " ", "", "null", "[]",
	} {
		if e, err := ParseEvent([]byte(bad)); err == nil {
			t.Errorf("%s was read as %+v", bad, e)
		}
	}
	if _, err := ParseCommand("p1", "campaign.agree", []byte(`{"claim":0}`)); err == nil {
		t.Error("claim 0 was read")
	}
	if _, err := ParseCommand("p1", "campaign.flee", []byte(`{}`)); err == nil {
		t.Error("an unknown command was read")
	}
}

func FuzzParseEvent(f *testing.F) {
	g := begin(f, osier(f), "p1", "p2")
	g.do("p1", Report{Score: drew("p1", "p2", "alder ford", 7, 7)})
	g.do("p2", Report{Score: beat("p1", "p2", "alder ford", 8, 7)})
	g.do("p1", Object{Claim: 1})
	g.do(Bot, fought(1, beat("p1", "p2", "alder ford", 7, 5), Deeds{Player: "p1", Unit: "pikes 1", Fought: true, Broke: 1}))
	g.do(Bot, Close{Round: 1})
	seen := map[string]bool{}
	for _, e := range g.events {
		b, err := MarshalEvent(e)
		if err != nil {
			f.Fatal(err)
		}
		seen[e.Type()] = true
		f.Add(b)
	}
	if len(seen) != len(happenings) {
		f.Fatalf("the corpus has %d kinds of event, there are %d", len(seen), len(happenings))
	}
	state := g.state
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := ParseEvent(b)
		if err != nil {
			return
		}
		if again, err := MarshalEvent(e); err != nil || !bytes.Equal(again, b) {
			t.Fatalf("%s became %s (%v)", b, again, err)
		}
		state.Apply(e) // must not panic, whatever it says
	})
}

func FuzzParseCommand(f *testing.F) {
	score := beat("p1", "p2", "alder ford", 7, 5)
	for _, a := range []Act{Start{File: "osier", SHA256: strings.Repeat("a", 64), Organiser: true}, Join{}, Join{Home: "fen end"},
		Report{Score: score}, Agree{Claim: 1}, Object{Claim: 2}, Result{How: HowUnopposed, Claim: 1},
		Result{How: HowRuled, Organiser: true, Score: &score},
		fought(3, score, Deeds{Player: "p1", Unit: "pikes 1", Fought: true}), Close{Round: 1, Until: 5}} {
		b, err := MarshalArgs(a)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(a.Name(), b)
	}
	s := begin(f, osier(f), "p1", "p2").state
	f.Fuzz(func(t *testing.T, name string, b []byte) {
		c, err := ParseCommand("p1", name, b)
		if err != nil {
			return
		}
		if again, err := MarshalArgs(c.Act); err != nil || !bytes.Equal(again, b) {
			t.Fatalf("%s became %s (%v)", b, again, err)
		}
		if events, err := Decide(s, c); err == nil {
			for _, e := range events {
				reread(t, e)
			}
		}
	})
}

// BenchmarkFold folds a long campaign; the floor is reading its events from
// JSON, which any fold must do first.
func BenchmarkFold(b *testing.B) {
	d := &dealer{Rand: rand.New(rand.NewPCG(1, 2)), file: osier(b)}
	var lines [][]byte
	s := New(d.file)
	for len(lines) < 2000 {
		events, err := Decide(s, d.command(s))
		if err != nil {
			continue
		}
		for _, e := range events {
			s = s.Apply(e)
			line, err := MarshalEvent(e)
			if err != nil {
				b.Fatal(err)
			}
			lines = append(lines, line)
		}
	}
	read := func() []Event {
		events := make([]Event, len(lines))
		for i, line := range lines {
			e, err := ParseEvent(line)
			if err != nil {
				b.Fatal(err)
			}
			events[i] = e
		}
		return events
	}
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			read()
		}
	})
	b.Run("readAndFold", func(b *testing.B) {
		for b.Loop() {
			s := New(d.file)
			for _, e := range read() {
				s = s.Apply(e)
			}
		}
	})
}
