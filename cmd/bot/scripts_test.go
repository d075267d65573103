package main

import (
	"context"
	"errors"
	"flag"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/terminal"
	"drumhead/commands"
	"drumhead/commands/beacon"
	"drumhead/commands/beacon/beacontest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
	"drumhead/storage"
	"drumhead/storage/faulty"
)

var update = flag.Bool("update", false, "rewrite chat scripts and golden files with what came")

const chats = "../../testdata/chat"

// TestScripts plays every chat script of the house at a terminal, each in a
// data directory of its own.
func TestScripts(t *testing.T) {
	chattest.Scripts(t, chats, *update, func(t *testing.T, file string) chatscript.Runner {
		return newTheatre(t, chats)
	})
}

// TestBeaconScripts plays the scripts whose dice a beacon cuts.
func TestBeaconScripts(t *testing.T) {
	const dir = chats + "/beacon"
	chattest.Scripts(t, dir, *update, func(t *testing.T, file string) chatscript.Runner {
		return newTheatre(t, dir, func(p *plan) {
			p.beacon = func(c *clock) (beacon.Source, *beacon.Chain) {
				b := beacontest.New(c.Now)
				return b, b.Chain()
			}
		})
	})
}

// TestRestoredScripts plays the scripts in which a store is put back from a copy.
func TestRestoredScripts(t *testing.T) {
	const dir = chats + "/restored"
	chattest.Scripts(t, dir, *update, func(t *testing.T, file string) chatscript.Runner { return newTheatre(t, dir) })
}

// theatre is a whole bot in a practice directory, with a terminal that stays
// where it is when the bot crashes.
type theatre struct {
	t     *testing.T
	plan  plan
	house *house
	term  *terminal.Terminal
	shown []chatscript.Shown
	last  chat.Message            // what the desk heard last
	heard map[string]chat.Message // the last by its place
	fail  bool                    // the next append is stored, and its answer lost
	lose  bool                    // the next post does not reach the terminal at first
}

func newTheatre(t *testing.T, files string, with ...func(*plan)) *theatre {
	th := &theatre{t: t, heard: map[string]chat.Message{}, plan: plan{data: t.TempDir(), practice: seed(t), log: slog.New(slog.DiscardHandler)}}
	th.plan.wrap = func(s storage.Store) storage.Store {
		return faulty.Over(s, func(c faulty.Call) (f faulty.Fault) {
			if c == faulty.Append && th.fail {
				th.fail = false
				f.After = storage.ErrUnknown
			}
			return f
		}, nil)
	}
	for _, set := range with {
		set(&th.plan)
	}
	th.open()
	term, err := th.house.seat(terminal.Config{
		Out: io.Discard, As: "reader", Open: opener(files),
		Watch: func(s chatscript.Shown) { th.shown = append(th.shown, s) },
	})
	if err != nil {
		t.Fatal(err)
	}
	th.term = term
	th.house.adapters[terminal.Name] = carrier{term, th}
	t.Cleanup(func() {
		th.likelihoods()
		if err := th.house.close(); err != nil {
			t.Error(err)
		}
		th.verified()
	})
	return th
}

// verified exports everything that was played and has it checked, by the program
// and by the verifier that stands alone. The program knows no beacon of a test.
func (th *theatre) verified() {
	out := th.t.TempDir()
	if code, said, errs := start(th.t, "", "export", "--data", th.plan.data, "--out", out, "--words"); code != good {
		th.t.Errorf("export: %s%s", said, errs)
	}
	ledgers, err := filepath.Glob(filepath.Join(out, "*.jsonl"))
	if err != nil {
		th.t.Error(err)
	}
	for _, ledger := range ledgers {
		if strings.HasSuffix(ledger, ".words.jsonl") {
			continue
		}
		alone(th.t, ledger)
		if th.plan.beacon != nil {
			continue
		}
		if code, said, errs := start(th.t, "", "verify", ledger); code != good {
			th.t.Errorf("verify: %s%s", said, errs)
		}
	}
}

// likelihoods asks of every entry with dice that was played how likely what came of it
// was: it is told, with chances that add up to 1, and what has none says so.
func (th *theatre) likelihoods() {
	for _, m := range th.heard {
		ledger, err := th.house.store.Of(context.Background(), string(m.Place))
		if err != nil {
			continue
		}
		th.likelihoodsOf(ledger, m)
	}
}

func (th *theatre) likelihoodsOf(ledger storage.LedgerID, m chat.Message) {
	ctx := context.Background()
	head, err := th.house.store.Head(ctx, ledger)
	if err != nil {
		th.t.Fatal(err)
	}
	for raw, err := range th.house.store.Read(ctx, ledger, 0, head.Size) {
		if err != nil {
			th.t.Fatal(err)
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			th.t.Fatal(err)
		}
		if len(rec.Faces) == 0 {
			continue
		}
		ask := m
		ask.Text, ask.Tap, ask.Files = "/odds "+strconv.FormatUint(rec.Seq, 10), nil, nil
		ask.Source += chat.Source(" " + ask.Text)
		posts, err := th.house.desk.Handle(ctx, ask)
		if err != nil || len(posts) != 1 {
			th.t.Fatalf("%s: %v, %v", ask.Text, posts, err)
		}
		if posts[0].Error == "odds.refuse.large" {
			continue // thousands of faces: said, and not reckoned
		}
		sum := 0.0
		for _, chance := range posts[0].Law {
			sum += chance
		}
		if posts[0].Error != "" || math.Abs(sum-1) > 1e-12 {
			th.t.Errorf("%s of a %s: %s; %v adds up to %v", ask.Text, rec.Command, posts[0].Error, posts[0].Law, sum)
		}
	}
}

// seed is the demo's, so that its script is the demo word for word.
func seed(t *testing.T) []byte {
	t.Helper()
	b, err := practiceSeed(demoSeed, true)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (th *theatre) open() {
	h, err := openHouse(context.Background(), th.plan)
	if err != nil {
		th.t.Fatal(err)
	}
	th.house = h
}

// Handle notes a message down on its way to the desk.
func (th *theatre) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	th.last, th.heard[string(m.Place)] = m, m
	return th.house.desk.Handle(ctx, m)
}

// Complete asks the desk.
func (th *theatre) Complete(ctx context.Context, m chat.Message) []chat.Suggestion {
	return th.house.desk.Complete(ctx, m)
}

// Say lets a person say something. If the store cannot tell whether it kept the
// answer the bot starts again, as it would.
func (th *theatre) Say(ctx context.Context, m chatscript.Message) error {
	err := th.term.Hear(ctx, th, chatscript.Step{Act: m})
	if errors.Is(err, storage.ErrUnknown) {
		return th.crash(ctx)
	}
	return err
}

// Do follows a direction: those of tests here, the others at the terminal.
func (th *theatre) Do(ctx context.Context, d chatscript.Direction) error {
	switch d.Verb {
	case chatscript.Crash:
		return th.crash(ctx)
	case chatscript.Restored:
		if err := commands.MarkRestored(ctx, th.house.store); err != nil {
			return err
		}
		return th.crash(ctx)
	case chatscript.Fail:
		th.fail = true
	case chatscript.Lose:
		th.lose = true
	case chatscript.Resend:
		posts, err := th.house.desk.Handle(ctx, th.last)
		if err != nil {
			return err
		}
		for _, p := range posts {
			if _, err := th.term.Send(ctx, p); err != nil {
				return err
			}
		}
		_, err = th.house.due(ctx)
		return err
	default:
		return th.term.Hear(ctx, th, chatscript.Step{Act: d})
	}
	return nil
}

// crash ends the bot without a word and starts it again. The clock goes on.
func (th *theatre) crash(ctx context.Context) error {
	now := th.house.clock.Now()
	if err := th.house.store.Close(); err != nil {
		return err
	}
	th.open()
	th.house.clock.reach(now)
	th.house.bind(th.term)
	th.house.adapters[terminal.Name] = carrier{th.term, th}
	_, err := th.house.due(ctx)
	return err
}

// Shown returns the posts since it was last asked.
func (th *theatre) Shown() []chatscript.Shown {
	shown := th.shown
	th.shown = nil
	return shown
}

// carrier is the terminal behind a line that may lose a post.
type carrier struct {
	*terminal.Terminal
	th *theatre
}

func (c carrier) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if c.th.lose {
		c.th.lose = false
		return chat.Receipt{}, chat.ErrLater
	}
	return c.Terminal.Send(ctx, p)
}

// A crash, a lost answer, a message delivered twice and a lost post change
// nothing: the same posts come, each once, and the same entries.
func TestTroubleChangesNothing(t *testing.T) {
	calm := []string{"ann: /roll 12d6 4+", "bo: /roll 2d6+1", "ann #fen: /roll 3d6", "bo: /roll 4d6 5+"}
	posts := func(trouble map[int]chatscript.Verb) (string, uint64) {
		th := newTheatre(t, chats)
		var all []chatscript.Shown
		for i, text := range calm {
			if verb, ok := trouble[i]; ok {
				if err := th.Do(t.Context(), chatscript.Direction{Verb: verb}); err != nil {
					t.Fatal(err)
				}
			}
			p := chatscript.NewParser("#table", false)
			if _, err := p.Line(text); err != nil {
				t.Fatal(err)
			}
			if err := th.Say(t.Context(), p.End().Act.(chatscript.Message)); err != nil {
				t.Fatal(err)
			}
			if err := th.house.settle(t.Context()); err != nil {
				t.Fatal(err)
			}
			all = append(all, th.Shown()...)
		}
		var size uint64
		for head, err := range th.house.store.Ledgers(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			size += head.Size
		}
		var out string
		for _, s := range all {
			for _, line := range s.Post().Source() {
				out += line + "\n"
			}
		}
		return out, size
	}
	want, size := posts(nil)
	for name, trouble := range map[string]map[int]chatscript.Verb{
		"resend": {1: chatscript.Resend, 3: chatscript.Resend},
		"lose":   {1: chatscript.Lose, 2: chatscript.Lose},
	} {
		got, n := posts(trouble)
		if n != size {
			t.Errorf("%s: %d entries, want %d", name, n, size)
		}
		if diff := chatscript.Diff(want, got); diff != "" {
			t.Errorf("%s: other posts:\n%s", name, diff)
		}
	}
	// A new start has new entropy and so other seals for new places; it must
	// neither lose nor add an entry.
	for name, trouble := range map[string]map[int]chatscript.Verb{
		"crash": {1: chatscript.Crash, 3: chatscript.Crash},
		"fail":  {1: chatscript.Fail, 3: chatscript.Fail},
	} {
		got, n := posts(trouble)
		if n != size {
			t.Errorf("%s: %d entries, want %d", name, n, size)
		}
		if len(got) != len(want) && name == "crash" {
			t.Errorf("%s: other posts:\n%s", name, chatscript.Diff(want, got))
		}
	}
}

// TestReadmeConversations: what the README shows was said and answered just so
// in a script that TestScripts plays.
func TestReadmeConversations(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(chats, "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	var played strings.Builder
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		played.Write(b)
		played.WriteString("\n\n")
	}
	found := 0
	for _, block := range strings.Split(string(readme), "\n\n") {
		if !strings.HasPrefix(block, "    ") || !strings.Contains(block, "\n    > ") {
			continue
		}
		found++
		var script []string
		for _, line := range strings.Split(strings.TrimRight(block, "\n"), "\n") {
			script = append(script, strings.TrimPrefix(line, "    "))
		}
		if !strings.Contains(played.String(), strings.Join(script, "\n")+"\n") {
			t.Errorf("no script plays this:\n%s", block)
		}
	}
	if found == 0 {
		t.Error("the README shows no conversation")
	}
}
