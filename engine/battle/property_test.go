package battle

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"drumhead/engine/dice"
)

func hash(n int) string { return fmt.Sprintf("%064x", n) }

func jsonOf(t testing.TB, events []Event) []string {
	t.Helper()
	var out []string
	for _, e := range events {
		b, err := MarshalEvent(e)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(b))
	}
	return out
}

// dicebox draws from a seed and remembers what it drew.
type dicebox struct {
	rand  *rand.Rand
	faces [][]int
	drawn int
	most  int // dice that it has; 0 for as many as an entry
}

func (b *dicebox) Draw(sides int) int {
	face := b.rand.IntN(sides) + 1
	if n := len(b.faces); n > 0 && b.faces[n-1][0] == sides {
		b.faces[n-1] = append(b.faces[n-1], face)
	} else {
		b.faces = append(b.faces, []int{sides, face})
	}
	b.drawn++
	return face
}

func (b *dicebox) Left() int {
	if b.most > 0 {
		return b.most - b.drawn
	}
	return dice.MostDice - b.drawn
}

// randomLine is a line that may or may not be possible.
func randomLine(r *rand.Rand, s State) Line {
	unit := func() string { return fmt.Sprintf("u%d", 1+r.IntN(len(s.Units)+1)) }
	aim := func() Aim {
		a := Aim{At: unit(), Cover: r.IntN(3) == 0, Half: r.IntN(4) == 0, Hidden: r.IntN(12) == 0}
		if r.IntN(3) > 0 {
			a.Tenths = r.IntN(260)
		}
		if r.IntN(5) == 0 {
			a.Models = r.IntN(8)
		}
		return a
	}
	l := Line{Order: verbs[r.IntN(len(verbs))], Unit: unit(), Aim: aim()}
	switch l.Order {
	case Move, Run, FallBack, Hold:
		l.Aim = Aim{}
		if r.IntN(2) == 0 {
			l.At = "mill"
			if places := s.objectives(); r.IntN(4) > 0 && len(places) > 0 {
				l.At = places[r.IntN(len(places))].ID
			}
		}
		if l.Order == Move && r.IntN(3) == 0 {
			l.At, l.Joins = "", unit()
		}
	case Cast:
		l.Power = []string{"veil", "undertow", "slack-water", "fog"}[r.IntN(4)]
		l.Near = []string{unit(), unit()}
	case Charge:
		if r.IntN(3) == 0 {
			l.Also = []string{unit()}
		}
		l.Blocked, l.Arc = r.IntN(3) == 0, []string{"", "flank", "stern"}[r.IntN(3)]
	case Split:
		l.Shares = []Aim{{Weapon: "deck-swivel", At: unit()}, {Weapon: "fire-pot", At: unit()}}
	case Done:
		l.Unit, l.Aim = "", Aim{}
	}
	if r.IntN(4) == 0 && l.Order != Done {
		l.Else = []Aim{aim()}
	}
	if r.IntN(5) == 0 {
		l.If = &Condition{Unit: unit(), Is: []Being{IsIn, IsStands, IsFell}[r.IntN(3)]}
	}
	return l
}

// mostTries is how many lines are tried for one that the rules allow.
const mostTries = 40

// likely gives a sheet of lines each of which Check accepts after the others.
func likely(r *rand.Rand, s State) []Line {
	var sheet []Line
	for range 1 + r.IntN(6) {
		for range mostTries {
			next := append(sheet[:len(sheet):len(sheet)], randomLine(r, s))
			if _, err := Check(s, Order{Player: s.Players[s.Side], Do: Sheet{Orders: next}}); err == nil {
				sheet = next
				break
			}
		}
	}
	return sheet
}

// TestRandomBattles plays battles from seeds: nothing panics; what Check refuses
// Decide refuses without a die; the same dice give the same events; a die falls
// only where Check said that one may; the state folded from JSON is the live
// one; units, ladders and melees stay sound; every battle comes to an end.
func TestRandomBattles(t *testing.T) {
	ended, rerolled := 0, 0
	for seed := range uint64(160) {
		r := rand.New(rand.NewPCG(seed, 1))
		s, b := anyBattle(t, seed)
		b.Terms.Turns = 1 + r.IntN(4)
		s = step(t, seed, r, s, Order{Player: Bot, Do: b})
		s, sealed := settledAhead(t, seed, r, s)
		for n := 0; n < 200 && s.Stage == Playing; n++ {
			var sheet []Line
			if r.IntN(4) == 0 {
				for range 1 + r.IntN(4) {
					sheet = append(sheet, randomLine(r, s))
				}
			} else {
				sheet = likely(r, s)
			}
			if r.IntN(3) == 0 {
				sheet = append(sheet, Line{Order: Done})
			}
			s = step(t, seed, r, s, Order{Player: s.Players[s.Side], Seq: uint64(n + 20), Do: Sheet{Battle: 1, Orders: sheet}, Opened: sealed})
			sound(t, seed, s)
			rerolled += s.Rerolled[0] + s.Rerolled[1]
		}
		if s.Stage == Over {
			ended++
		}
	}
	if rerolled == 0 {
		t.Error("no standing order ever acted")
	}
	if ended < 130 {
		t.Errorf("%d of 160 battles came to an end", ended)
	}
}

// settledAhead seals standing orders of both sides, drawn at random.
func settledAhead(t *testing.T, seed uint64, r *rand.Rand, s State) (State, []Opening) {
	t.Helper()
	orders := []Standing{
		{Counter: &CounterOrder{}}, {Counter: &CounterOrder{AtLeast: 7 + r.IntN(4)}}, {Counter: &CounterOrder{Never: true}},
		{Reroll: &RerollOrder{}}, {Reroll: &RerollOrder{Need: 4 + r.IntN(3), Unit: "u" + fmt.Sprint(1+r.IntN(8))}}, {Reroll: &RerollOrder{Never: true}},
		{Falls: &FallsOrder{}}, {Falls: &FallsOrder{Part: "scout"}},
	}
	var sealed []Opening
	for n := range r.IntN(6) {
		value, err := orders[r.IntN(len(orders))].Marshal()
		if err != nil {
			t.Fatal(err)
		}
		o := Order{Player: s.Players[r.IntN(2)], Seq: uint64(n + 2), Do: Ahead{Battle: 1, Said: hash(n)}}
		s = step(t, seed, r, s, o)
		sealed = append(sealed, Opening{Of: o.Seq, Salt: "00", Value: value})
	}
	return s, sealed
}

// anyBattle is one of the built-in games, before its first entry, and how it begins.
func anyBattle(t *testing.T, seed uint64) (State, Begin) {
	b := opened(t)
	b.Forces[0] = append(b.Forces[0], Model{Kind: "barge", Size: 1, Key: "barge 1"}, Model{Kind: "lock-captain", Size: 1, Key: "lock-captain 1"})
	switch seed % 4 {
	case 3:
		tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 6}, {Kind: "skipper", Size: 1}, {Kind: "crew", Size: 4}},
			[]Model{{Kind: "crew", Size: 5}, {Kind: "skipper", Size: 1}, {Kind: "skipper", Size: 1}})
		b.Terms, b.Forces = tb.state.Terms, beginForces(tb.state)
		return New(tb.state.Pack), b
	case 1:
		tb := beginWith(t, "brine", "salt-road", []string{"watch-cutter", "lock-barge", "watch-cutter"}, []string{"eel-boat", "old-hulk", "eel-boat"})
		b.Terms, b.Forces = tb.state.Terms, beginForces(tb.state)
		return New(tb.state.Pack), b
	case 2:
		tb := beginWith(t, "column", "two-fords", []string{"weir-foot", "toll-horse", "weir-guns"}, []string{"delta-foot", "heron-horse", "delta-guns"})
		b.Terms, b.Forces = tb.state.Terms, beginForces(tb.state)
		return New(tb.state.Pack), b
	}
	return New(pack(t)), b
}

func beginForces(s State) [][]Model {
	out := make([][]Model, 2)
	for _, u := range s.Units {
		out[u.Side] = append(out[u.Side], Model{Kind: u.Kind, Size: u.Size, Key: u.Key})
	}
	return out
}

// tight decides with few dice: what has not enough of them is not begun.
func tight(t *testing.T, seed uint64, s State, o Order) {
	t.Helper()
	for _, most := range []int{1, 8, 40} {
		box := &dicebox{rand: rand.New(rand.NewPCG(seed, 3)), most: most}
		if _, err := Decide(s, o, box); err == nil && box.drawn > most {
			t.Fatalf("seed %d: %d dice were drawn of %d: %+v", seed, box.drawn, most, o.Do)
		}
	}
}

func step(t *testing.T, seed uint64, r *rand.Rand, s State, o Order) State {
	t.Helper()
	before := show(s)
	mayRoll, refused := Check(s, o)
	box := &dicebox{rand: rand.New(rand.NewPCG(r.Uint64(), 2))}
	events, err := Decide(s, o, box)
	if (err == nil) != (refused == nil) || err != nil && box.drawn > 0 {
		t.Fatalf("seed %d: Check %v, Decide %v with %d dice", seed, spell(refused), spell(err), box.drawn)
	}
	if show(s) != before {
		t.Fatalf("seed %d: Decide changed the state it was given", seed)
	}
	if err != nil {
		return s
	}
	if _, sheet := o.Do.(Sheet); sheet {
		tight(t, seed, s, o)
	}
	if box.drawn > 0 && !mayRoll {
		t.Fatalf("seed %d: %d dice fell where Check said that none can: %+v", seed, box.drawn, o.Do)
	}
	again, err := Decide(s, o, dice.NewShown(box.faces))
	if err != nil || show(jsonOf(t, events)) != show(jsonOf(t, again)) {
		t.Fatalf("seed %d: the same dice gave other events", seed)
	}
	live := s
	for _, e := range events {
		live = live.Apply(e)
	}
	folded := s.Fold(through(t, events))
	if !reflect.DeepEqual(live, folded) {
		t.Fatalf("seed %d: the state from JSON is not the live one:\n%+v\n%+v", seed, folded, live)
	}
	return live
}

// sound looks for what no battle may come to.
func sound(t *testing.T, seed uint64, s State) {
	t.Helper()
	for _, u := range s.Units {
		if u.Left < 0 || u.Left+u.Fell+u.Fled != u.Size || (u.Gone == "") != (u.Left > 0) {
			t.Fatalf("seed %d: %s has %d left, %d fell, %d fled of %d, gone %q", seed, u.ID, u.Left, u.Fell, u.Fled, u.Size, u.Gone)
		}
		if l := s.ladder(u); u.Hurt < 0 || u.Stands() && u.Hurt >= l.Segments[0].Wounds {
			t.Fatalf("seed %d: %s is hurt by %d: %+v", seed, u.ID, u.Hurt, l)
		}
		if sum := 0; u.Parts != nil && u.Stands() {
			for _, n := range u.Parts {
				sum += n
			}
			if sum != u.Left {
				t.Fatalf("seed %d: %s has %v and %d left", seed, u.ID, u.Parts, u.Left)
			}
		}
		if host, ok := s.Unit(u.Joined); u.Stands() && u.Joined != "" && (!ok || !host.Stands() || host.Side != u.Side) {
			t.Fatalf("seed %d: %s has joined %q", seed, u.ID, u.Joined)
		}
		for _, id := range u.With {
			w, ok := s.Unit(id)
			if !ok || w.Side == u.Side || !w.Stands() || !u.Stands() || !reflect.DeepEqual(add(w.With, u.ID), w.With) {
				t.Fatalf("seed %d: %s is in melee with %s, which is not with it", seed, u.ID, id)
			}
		}
	}
}

func FuzzParseSheet(f *testing.F) {
	for _, s := range []string{
		"move Pikes 5 north", "move Crossbows to Bridge", "cast Veil on Pikes, near Crossbows and Mortar",
		"shoot Crossbows at Riders, 20 in, in cover, else Guns", "split Crossbows: crossbow at Riders 12 in",
		"charge Pikes at Guns, 7.4 in, if Riders are in", "fight Pikes; hold Mortar at Well; done",
		"Charge Pìkes at Guns — 7,4 ″", "shoot Mortar at Guns with 2, else hold", "1) run Pikes 9 in to Bridge",
	} {
		f.Add(s)
	}
	s := New(pack(f)).Fold([]Event{&Begun{Players: []string{"p1", "p2"}, Terms: terms(pack(f)), Forces: opened(f).Forces}})
	f.Fuzz(func(t *testing.T, text string) {
		lines, err := ParseSheet(s, 0, text)
		if err != nil {
			return
		}
		args, err := MarshalDo(Sheet{Battle: 1, Orders: lines})
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseDo(CommandOrder, args)
		if err != nil {
			t.Fatalf("%q: %s: %v", text, args, err)
		}
		if b, _ := MarshalDo(again); string(b) != string(args) {
			t.Fatalf("%q: %s became %s", text, args, b)
		}
		_, _ = Check(s, Order{Player: "p1", Do: again})
		_, _ = ParseAhead(s, 0, text)
	})
}

func FuzzParseEvent(f *testing.F) {
	for _, make := range kinds {
		b, err := MarshalEvent(make())
		if err == nil {
			f.Add(b)
		}
	}
	f.Add([]byte(`{"at":"u5","dice":[4,5],"in":true,"line":1,"need":7,"tenths":74,"total":9,"type":"charged","unit":"u1"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := ParseEvent(b)
		if err != nil {
			return
		}
		again, err := MarshalEvent(e)
		if err != nil || string(again) != string(b) {
			t.Fatalf("%s became %s: %v", b, again, err)
		}
	})
}

// TestEventsAreCanonical: what MarshalEvent writes is what the general way of
// writing gives, for every type, empty and filled.
func TestEventsAreCanonical(t *testing.T) {
	if len(kinds) < 20 {
		t.Fatalf("%d types of events", len(kinds))
	}
	for name, make := range kinds {
		e := make()
		fill(reflect.ValueOf(e).Elem())
		for _, e := range []Event{make(), e} {
			b, err := MarshalEvent(e)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			var members map[string]any
			if err := json.Unmarshal(b, &members); err != nil {
				t.Fatalf("%s: %s: %v", name, b, err)
			}
			if members["type"] != name {
				t.Errorf("%s: type is %v", name, members["type"])
			}
			if again, err := canonical(members); err == nil && string(again) != string(b) {
				t.Errorf("%s:\n%s\nwant\n%s", name, b, again)
			}
		}
		b, _ := MarshalEvent(e)
		if again, err := ParseEvent(b); err != nil || !reflect.DeepEqual(again, e) {
			t.Errorf("%s: %s is read as %+v, %v", name, b, again, err)
		}
	}
}

// fill gives every member of an event a value.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("a,\"b\":{")
	case reflect.Int, reflect.Int64:
		v.SetInt(7)
	case reflect.Uint64:
		v.SetUint(8)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i))
		}
	case reflect.Slice:
		if v.Type() == reflect.TypeFor[json.RawMessage]() {
			v.SetBytes([]byte(`{"z":1}`))
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i))
		}
	}
}

func FuzzParseDo(f *testing.F) {
	f.Add(CommandOrder, []byte(`{"battle":3,"orders":[{"at":"u5","order":"shoot","tenths":200,"unit":"u2"}]}`))
	f.Add(CommandAgree, []byte(`{"battle":3}`))
	f.Add(CommandAhead, []byte(`{"battle":3,"said":"00"}`))
	f.Fuzz(func(t *testing.T, command string, b []byte) {
		do, err := ParseDo(command, b)
		if err != nil {
			return
		}
		if again, err := MarshalDo(do); err != nil || string(again) != string(b) {
			t.Fatalf("%s became %s: %v", b, again, err)
		}
	})
}

// TestStrictArgs: one spelling for one meaning.
func TestStrictArgs(t *testing.T) {
	for _, bad := range []string{
		`{"battle":3,"orders":[],"more":1}`, `{"orders":[],"battle":3}`, `{"battle":3, "orders":[]}`,
		`{"battle":3,"orders":[{"order":"done","unit":""}]}`, `{"battle":3,"orders":[{"order":"dön"}]}`,
		`{"battle":3,"battle":3,"orders":[]}`, `{"battle":3.0,"orders":[]}`, `[]`, ``,
	} {
		if do, err := ParseDo(CommandOrder, []byte(bad)); err == nil {
			t.Errorf("%s was read as %+v", bad, do)
		}
	}
	if _, err := ParseDo("battle.dance", []byte(`{}`)); err == nil {
		t.Error("an unknown command was read")
	}
}

// TestAhead: standing orders as people type them.
func TestAhead(t *testing.T) {
	tb := begin(t)
	for text, want := range map[string]string{
		"counter any cast":   `{"counter":{}}`,
		"Counter at least 7": `{"counter":{"at_least":7}}`,
		"never counter":      `{"counter":{"never":true}}`,
		"re-roll one lost Rider save of 5+ or better": `{"reroll":{"need":5,"unit":"u5"}}`,
		"reroll one lost save":                        `{"reroll":{}}`,
		"casualties from the back":                    `{"falls":{}}`,
		"casualties plainest first, keep Teasel":      `{"falls":{"keep":"u8"}}`,
	} {
		got, err := ParseAhead(tb.state, 1, text)
		if err != nil || len(got) != 1 {
			t.Errorf("%q: %s", text, spell(err))
			continue
		}
		b, err := got[0].Marshal()
		if err != nil || string(b) != want {
			t.Errorf("%q: %s, want %s", text, b, want)
		}
		if again, err := ParseStanding(b); err != nil || show(again.members()) != "1" {
			t.Errorf("%s is not read again: %v", b, err)
		}
	}
	for _, bad := range []string{"", "win", "counter", "re-roll one lost Pike save", "casualties of war", "counter any cast twice"} {
		if got, err := ParseAhead(tb.state, 1, bad); err == nil {
			t.Errorf("%q was read as %+v", bad, got)
		}
	}
}
