package commands

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/storage"
	"drumhead/storage/bolt"
	"drumhead/storage/faulty"
	"drumhead/storage/mem"
)

// The simulation: one seed picks people, what they say and tap, duplicates,
// pauses, crashes and faults of the store. After each step: what was said twice
// adds nothing, no post tells of an entry that is not there, the live state is
// the fold of the entries. In the end every ledger verifies and replays, and the
// whole run on bbolt is byte for byte the run in memory.

// seedsEnv sets how many seeds are run; CI runs 200.
const seedsEnv = "DRUMHEAD_SEEDS"

// stepsOfASeed is how many things happen under one seed.
const stepsOfASeed = 120

// A backend can be closed as by a crash and opened again.
type backend interface{ open() storage.Store }

type memBackend struct {
	t    *testing.T
	disk *mem.Disk
	now  func() time.Time
}

func (m *memBackend) open() storage.Store {
	s, err := mem.Open(m.disk, mem.Options{Now: m.now})
	if err != nil {
		m.t.Fatal(err)
	}
	return s
}

type boltBackend struct {
	t    *testing.T
	path string
	now  func() time.Time
}

func (b *boltBackend) open() storage.Store {
	s, err := bolt.Open(b.path, bolt.Options{Now: b.now})
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

// world is one run of one seed on one backend.
type world struct {
	t       *testing.T
	seed    uint64
	rng     *rand.Rand
	backend backend
	under   storage.Store
	faults  *faulty.Store
	entropy *entropy
	desk    *Desk
	clock   atomic.Int64 // Unix milliseconds: the store's committer reads it too
	said    []chat.Message
	posts   []chat.Post
	log     bytes.Buffer // everything that was posted, for comparing backends
}

// now is the simulated time; pass lets some go by.
func (w *world) now() time.Time       { return time.UnixMilli(w.clock.Load()).UTC() }
func (w *world) pass(d time.Duration) { w.clock.Add(d.Milliseconds()) }

func (w *world) start() {
	w.under = w.backend.open()
	w.faults = faulty.Over(w.under, faulty.Lucky, nil)
	d, err := New(Config{Store: w.faults, Now: w.now, Entropy: w.entropy,
		Name: "practice.drumhead.local", Key: ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, 32))})
	if err != nil {
		w.t.Fatal(err)
	}
	w.desk = d
}

// crash ends the process at once: what was not stored is gone.
func (w *world) crash() {
	if err := w.under.Close(); err != nil {
		w.t.Fatalf("seed %d: close: %v", w.seed, err)
	}
	w.start()
}

// Run, Send and Limits make the world an adapter.
func (w *world) Run(context.Context, chat.Desk) error { return nil }
func (w *world) Send(_ context.Context, p chat.Post) (chat.Receipt, error) {
	w.show(p)
	return chat.Receipt{Ref: string(p.ID), Time: w.now()}, nil
}
func (w *world) Limits() chat.Limits { return chat.Limits{} }

func (w *world) show(p chat.Post) {
	b, err := json.Marshal(p)
	if err != nil {
		w.t.Fatal(err)
	}
	w.log.Write(append(b, '\n'))
	w.posts = append(w.posts, p)
	if len(p.Lines) == 0 {
		w.t.Errorf("seed %d: an empty post %s", w.seed, p.ID)
	}
	if p.Error == "broken" {
		w.t.Errorf("seed %d: %s", w.seed, b)
	}
	for _, r := range p.Pictures {
		if image, err := w.desk.Make(context.Background(), r); err != nil || len(image) == 0 || r.Alt == "" {
			w.t.Errorf("seed %d: %s of %s cannot be drawn: %v", w.seed, r.Kind, p.ID, err)
		}
	}
}

// handle gives a message, again after every fault, until it is answered.
func (w *world) handle(m chat.Message) {
	for range 10 {
		posts, err := w.desk.Handle(context.Background(), m)
		switch {
		case errors.Is(err, storage.ErrUnknown):
			w.crash()
			continue
		case errors.Is(err, storage.ErrFull), errors.Is(err, faulty.ErrBroken):
			continue
		case err != nil:
			w.t.Fatalf("seed %d: %q: %v", w.seed, m.Text, err)
		}
		for _, p := range posts {
			w.show(p)
		}
		w.drain()
		return
	}
	w.t.Fatalf("seed %d: %q is never answered", w.seed, m.Text)
}

func (w *world) drain() {
	if err := NewPump(w.desk, map[string]chat.Adapter{"test": w}).Drain(context.Background()); err != nil && !errors.Is(err, faulty.ErrBroken) {
		w.t.Fatalf("seed %d: drain: %v", w.seed, err)
	}
}

// sizes is how many entries every ledger has.
func (w *world) sizes() map[storage.LedgerID]uint64 {
	out := map[storage.LedgerID]uint64{}
	for h, err := range w.under.Ledgers(context.Background()) {
		if err != nil {
			w.t.Fatal(err)
		}
		out[h.Ledger] = h.Size
	}
	return out
}

func (w *world) step(n int) {
	w.pass(time.Duration(w.rng.IntN(90)) * time.Second)
	switch k := w.rng.IntN(20); {
	case k < 10:
		w.say(n)
	case k < 14:
		w.tap(n)
	case k < 15 && len(w.said) > 0: // delivered twice
		before := w.sizes()
		w.handle(w.said[w.rng.IntN(len(w.said))])
		if after := w.sizes(); !reflect.DeepEqual(before, after) {
			w.t.Errorf("seed %d, step %d: a message delivered twice added entries", w.seed, n)
		}
	case k < 16:
		w.crash()
		w.drain()
	case k < 18: // a fault of the store while somebody speaks
		f := []faulty.Fault{{Before: storage.ErrUnknown}, {After: storage.ErrUnknown}, {Before: storage.ErrFull}}[w.rng.IntN(3)]
		w.faults.Replan(faulty.Once(faulty.Append, 1, f))
		w.say(n)
		w.faults.Replan(faulty.Lucky)
	default:
		w.pass(time.Duration(w.rng.IntN(60)) * time.Hour)
		if _, err := w.desk.Tick(context.Background()); err != nil {
			w.t.Fatalf("seed %d, step %d: tick: %v", w.seed, n, err)
		}
		w.drain()
	}
}

// say lets somebody say something.
func (w *world) say(n int) {
	people := []string{"Ann", "Bo", "Cy"}
	who := people[w.rng.IntN(len(people))]
	place := "#fen"
	text := w.pickText(who)
	if w.rng.IntN(12) == 0 {
		place = "#osier"
	}
	m := chat.Message{Source: chat.Source(fmt.Sprintf("test:%d:%d", w.seed, n)), Community: "test:club", Place: chat.Place("test:" + place),
		Person: chat.Person("test:" + who), Name: who, Organiser: who == "Cy", Text: text, Time: w.now()}
	w.hear(m)
}

// hear handles a message, and remembers it if it became an entry: said again it
// must add nothing. What was refused may be said again when times have changed.
func (w *world) hear(m chat.Message) {
	before := w.sizes()
	w.handle(m)
	if !reflect.DeepEqual(before, w.sizes()) {
		w.said = append(w.said, m)
	}
}

// tap lets somebody pick a choice of a late post.
func (w *world) tap(n int) {
	for range 8 {
		if len(w.posts) == 0 {
			return
		}
		p := w.posts[len(w.posts)-1-w.rng.IntN(min(len(w.posts), 12))]
		if len(p.Choices) == 0 {
			continue
		}
		c := p.Choices[w.rng.IntN(len(p.Choices))]
		who := []string{"Ann", "Bo", "Cy"}[w.rng.IntN(3)]
		m := chat.Message{Source: chat.Source(fmt.Sprintf("test:%d:%d", w.seed, n)), Community: "test:club", Place: "test:#fen",
			Person: chat.Person("test:" + who), Name: who, Organiser: who == "Cy", Tap: &chat.Tap{Post: p.ID, Number: c.Number}, Time: w.now()}
		w.hear(m)
		return
	}
}

// check holds every ledger against its rules and its live state.
func (w *world) check(whole bool) {
	ids := slices.SortedFunc(maps.Keys(w.sizes()), func(a, b storage.LedgerID) int { return bytes.Compare(a[:], b[:]) })
	for _, id := range ids {
		about, err := w.under.About(context.Background(), id)
		if err != nil {
			w.t.Fatal(err)
		}
		kept, ok := w.desk.live.get(chat.Place(about.Place))
		if ok {
			w.desk.live.drop(chat.Place(about.Place))
		}
		folded, err := w.desk.view(context.Background(), chat.Place(about.Place))
		if err != nil {
			w.t.Fatalf("seed %d: fold: %v", w.seed, err)
		}
		if ok && (kept.head != folded.head || !reflect.DeepEqual(comparable(kept.game), comparable(folded.game))) {
			w.t.Errorf("seed %d: the live state of %s is not the fold of its entries", w.seed, about.Place)
		}
		if c, ok := proof.CampaignOf(folded.game); ok {
			w.holders(c)
		}
		if whole {
			w.verify(id)
		}
	}
	for _, p := range w.posts {
		if sid, ok := ParseStoredID(p.ID); ok && p.Entry >= 0 && uint64(p.Entry) > sid.Seq {
			w.t.Errorf("seed %d: post %s tells of entry %d", w.seed, p.ID, p.Entry)
		}
	}
}

// holders looks for a region that is lost, or held by who never joined.
func (w *world) holders(c proof.Campaign) {
	held := 0
	for _, p := range c.Players {
		held += len(c.Holds(p.ID))
	}
	if held+len(c.Holds("")) != len(c.File.Regions) {
		w.t.Errorf("seed %d: %d regions held, %d free, of %d", w.seed, held, len(c.Holds("")), len(c.File.Regions))
	}
}

// comparable is a game's rooms, with each pack as the hash by which it is
// pinned: a loaded pack is the same one only if it is the same pointer.
func comparable(g proof.Game) map[string]any {
	rooms := maps.Clone(g.Rooms)
	b := proof.BattlesOf(g)
	begun := map[uint64]battle.State{}
	packs := map[uint64]string{}
	for seq, s := range b.Begun {
		packs[seq] = s.Pack.Hash
		s.Pack = nil
		s.Past = slices.Clone(s.Past)
		for i, p := range s.Past {
			before := *p.Before
			before.Pack = nil
			s.Past[i].Before = &before
		}
		begun[seq] = s
	}
	rooms[proof.Battling{}.Name()] = []any{b.Offers, begun, packs, b.Order}
	return rooms
}

// verify checks a whole ledger as a stranger would, rules replayed.
func (w *world) verify(id storage.LedgerID) {
	var lines [][]byte
	for e, err := range w.under.Read(context.Background(), id, 0, 1<<40) {
		if err != nil {
			w.t.Fatal(err)
		}
		lines = append(lines, append([]byte{}, e.Bytes...))
	}
	note, err := w.desk.Checkpoint(context.Background(), id, uint64(len(lines)))
	if err != nil {
		w.t.Fatal(err)
	}
	r := proof.Check(lines, proof.Options{Checkpoints: [][]byte{note}, Replay: proof.NewReplay(w.desk.file)})
	if r.Fault != nil {
		w.t.Errorf("seed %d: ledger %s does not verify: %v", w.seed, id, r.Fault)
	}
	if !r.Rules {
		w.t.Errorf("seed %d: rules were not replayed", w.seed)
	}
	if err := everyDieOnce(w.desk.file, lines); err != nil {
		w.t.Errorf("seed %d: ledger %s: %v", w.seed, id, err)
	}
	w.log.Write(bytes.Join(lines, []byte("\n")))
}

// live1 runs one seed on one backend and returns everything that came of it.
func live1(t *testing.T, seed uint64, onBolt bool) (string, map[storage.LedgerID]uint64) {
	w := &world{t: t, seed: seed, rng: rand.New(rand.NewPCG(seed, 1)), entropy: newEntropy(byte(seed))}
	w.clock.Store(time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC).UnixMilli())
	now := w.now
	if onBolt {
		w.backend = &boltBackend{t, filepath.Join(t.TempDir(), "drumhead.db"), now}
	} else {
		w.backend = &memBackend{t, mem.NewDisk(), now}
	}
	w.start()
	prepare(w)
	for n := range stepsOfASeed {
		w.step(n)
		w.check(false)
		if t.Failed() {
			t.Fatalf("seed %d failed at step %d", seed, n)
		}
	}
	w.check(true)
	sizes := w.sizes()
	if err := w.under.Close(); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(w.log.Bytes())
	return hex.EncodeToString(sum[:]), sizes
}

func TestSimulation(t *testing.T) {
	seeds := uint64(10)
	if s := os.Getenv(seedsEnv); s != "" {
		n, err := strconv.ParseUint(s, 10, 32)
		if err != nil {
			t.Fatalf("%s=%q: a number of seeds was expected", seedsEnv, s)
		}
		seeds = n
	} else {
		t.Logf("%d seeds; set %s=200 for as many as CI runs", seeds, seedsEnv)
	}
	for seed := uint64(1); seed <= seeds; seed++ {
		inMem, sizes := live1(t, seed, false)
		onBolt, _ := live1(t, seed, true)
		if inMem != onBolt {
			t.Fatalf("seed %d: memory and bbolt came to different histories", seed)
		}
		if len(sizes) == 0 {
			t.Fatalf("seed %d made no ledger: the simulation says nothing", seed)
		}
	}
}

// The forces of the simulated battles: any that the pack takes will do.
const (
	weirForce = "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nMarram\nBarge"
	ropeForce = "/force add\nRopewalk Guild, 500 points\n6 Riders\n6 Guns\n8 Rope Guard\nTeasel"
)

// prepare lets people arrive, build their forces, and begin a campaign.
func prepare(w *world) {
	for i, m := range []struct{ who, place, text string }{
		{"Cy", "#osier", "/campaign start osier"},
		{"Ann", "#osier", "/campaign join Withy Lock"},
		{"Bo", "#osier", "/campaign join"},
		{"Ann", "#fen", weirForce},
		{"Bo", "#fen", ropeForce},
		{"Ann", "#fen", "/battle open Bo 500 Last Ferry"},
		{"Bo", "#fen", "/battle join"},
	} {
		w.handle(chat.Message{Source: chat.Source(fmt.Sprintf("test:%d:before%d", w.seed, i)), Community: "test:club",
			Place: chat.Place("test:" + m.place), Person: chat.Person("test:" + m.who), Name: m.who, Organiser: m.who == "Cy", Text: m.text, Time: w.now()})
	}
}

// pickText is something that one may say: mostly sense, sometimes a mistake.
func (w *world) pickText(who string) string {
	sheets := map[string][]string{
		"Ann": {"/order shoot Crossbows at Riders, 20 in; done", "/order move Pikes to Near Landing; done", "/order shoot Mortar at Rope Guard; done",
			"/order charge Pikes at Guns, 6 in; done", "/order cast Veil on Pikes; done", "/order run Barge; done", "/order fall back Pikes; done"},
		"Bo": {"/order charge Riders at Crossbows, 8 in; done", "/order shoot Guns at Pikes, 18 in; done", "/order move Rope Guard to Far Landing; done",
			"/order charge Rope Guard at Pikes, 5 in, else Crossbows; done", "/order fall back Riders; done"},
		"Cy": {"/campaign gazette", "/standings", "/campaign map",
			"/settings dice pictures always", "/settings dice pictures never"},
	}
	anybody := []string{"/roll 12d6 4+", "/roll 20d6 3+, 4+, save 5+", "/roll again 4+", "/roll again save 5+", "/roll 2d6+1 total 9+", "/roll 0d6",
		"/roll 12d6 3+ reroll 1s for the weir", "/tell The water rises.", "/due", "/battle status", "/battle ahead casualties from the back",
		"/battle ahead counter never", "/battle finish", "/battle undo", "/battle undo", "/battle keep", "/battle concede", "/battle open anyone 500 Last Ferry", "/battle join", "/order done", "/order fight Pikes; done",
		"/unit Pikes", "/explain", "/proof", "/help", "/me zone Europe/Paris", "/nonsense", "lovely weather", "/result Ann beat Bo 7 to 5 at Alder Ford", "/force show"}
	if w.rng.IntN(2) == 0 {
		return sheets[who][w.rng.IntN(len(sheets[who]))]
	}
	return anybody[w.rng.IntN(len(anybody))]
}
