package commands

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// yesterday is a table on a data directory, and what is needed to put back the copy of
// it that was made when copied was called.
type yesterday struct {
	*table
	path, copy string
}

func newYesterday(t *testing.T) *yesterday {
	y := &yesterday{path: filepath.Join(t.TempDir(), "today.db"), copy: filepath.Join(t.TempDir(), "yesterday.db")}
	y.table = newTableOn(t, y.open(t, y.path))
	return y
}

func (y *yesterday) open(t *testing.T, path string) storage.Store {
	t.Helper()
	s, err := bolt.Open(path, bolt.Options{Now: func() time.Time { return time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC) }, Random: newEntropy(3)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// copied keeps a copy of the data directory as it is now.
func (y *yesterday) copied(t *testing.T) {
	t.Helper()
	if err := y.store.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(y.path)
	if err == nil {
		err = os.WriteFile(y.copy, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	y.store = y.open(t, y.path)
	next := y.again(nil)
	next.posts = y.posts
	y.table = next
}

// restored is a process on the copy, which sees in the chat what was posted since.
func (y *yesterday) restored(t *testing.T) *table {
	t.Helper()
	var seen shownPosts
	for _, p := range y.posts {
		seen = append(seen, chat.Seen{Post: p.ID, Ref: "1"})
	}
	old := *y.table
	old.store = y.open(t, y.copy)
	next := old.again(seen)
	next.now = y.now
	return next
}

// file is what hangs on a post, by the end of its name.
func (y *yesterday) file(t *testing.T, post int, end string) chat.File {
	t.Helper()
	for _, f := range y.posts[post].Files {
		if strings.HasSuffix(f.Name, end) {
			b, err := y.desk.Make(t.Context(), f)
			if err != nil {
				t.Fatal(err)
			}
			return chat.File{Name: f.Name, Bytes: b}
		}
	}
	t.Fatalf("post %d has no %s", post, end)
	return chat.File{}
}

// hands sends /settings restored with files.
func (tb *table) hands(who string, files ...chat.File) string {
	tb.line++
	m := tb.message(who, "#fen", "/settings restored")
	m.Files = files
	return tb.handle(m)
}

// fight begins the battle of fen on any table.
func (tb *table) fight() {
	tb.say("Ann", "@dm", "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nMarram\nBarge")
	tb.say("Bo", "@dm", "/force add\nRopewalk Guild, 500 points\n6 Riders\n6 Guns\n8 Rope Guard\nTeasel")
	tb.say("Ann", "#fen", "/battle open Bo 500 Drowned Bridge")
	tb.pick("Bo", "#fen", "Accept")
}

// handed are the posts of turns that were handed over.
func (y *yesterday) handed() (posts []int) {
	for i, p := range y.posts {
		for _, f := range p.Files {
			if f.Kind == "entries" {
				posts = append(posts, i)
			}
		}
	}
	return posts
}

// TestReadBack: a store of yesterday is told by its own posts what it lacks. It adds
// nothing; the files of the turns, each under a checkpoint that it signed itself, bring
// the entries back; then the ledger goes on under a new seal and the battle with it.
func TestReadBack(t *testing.T) {
	y := newYesterday(t)
	y.fight()
	mover, other := y.moves()
	y.copied(t)
	y.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; done")
	y.say("Dee", "#fen", "/tell Somebody who is new here.")
	y.say(other, "#fen", "/order shoot "+own[other]+" at "+own[mover]+", 12 in; done")
	turns, want := y.handed(), y.entries("#fen")
	first, second := turns[len(turns)-2], turns[len(turns)-1]
	tb := y.restored(t)
	size := tb.size("#fen")
	for range 2 {
		wants(t, tb.say(mover, "#fen", "/order done"), "My memory was put back or copied, and ends with")
	}
	tb.turns()
	if got := tb.text(0); strings.Count(got, "are missing in it") != 1 {
		t.Errorf("the place is told:\n%s", got)
	}
	note, entries := y.file(t, first, ".checkpoint"), y.file(t, first, ".jsonl")
	changed := chat.File{Name: entries.Name, Bytes: bytes.Replace(entries.Bytes, []byte(`"tenths":120`), []byte(`"tenths":110`), 1)}
	foreign := newTable(t)
	foreign.say("Ann", "#fen", "/roll 2d6")
	v := foreign.view("#fen")
	others, err := foreign.desk.Make(t.Context(), v.checkpointFile())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want  string
		files []chat.File
	}{
		{"Hand in their checkpoint as well", []chat.File{entries}},
		{"no checkpoint that I signed", []chat.File{entries, {Name: "x.checkpoint", Bytes: others}}},
		{"one of them was changed", []chat.File{changed, note}},
		{"come first", []chat.File{y.file(t, second, ".jsonl"), y.file(t, second, ".checkpoint")}},
		{"they are not of the same post", []chat.File{entries, y.file(t, second, ".checkpoint")}},
		{"no entries of this place's ledger", []chat.File{{Name: "x.jsonl", Bytes: []byte("{}\n")}, note}},
		{"too large", []chat.File{{Name: "x.jsonl", Bytes: make([]byte, storage.MaxValue+1)}, note}},
	} {
		if got := tb.hands("Bo", c.files...); tb.size("#fen") != size || !strings.Contains(strings.ReplaceAll(got, "\n  ", " "), c.want) {
			t.Errorf("want %q:\n%s", c.want, got)
		}
	}
	tb.hands("Bo", entries)
	tb.wants(tb.hands("Ann", note), "are back, each checked", "are missing in it")
	wants(t, tb.say("Ann", "#fen", "/roll 2d6"), "put back or copied")
	tb.wants(tb.hands("Ann", y.file(t, second, ".jsonl"), y.file(t, second, ".checkpoint")), "are back", "to move until", "old keys are given up")
	got := tb.entries("#fen")
	for i, line := range want {
		if !bytes.Equal(got[i], line) {
			t.Fatalf("entry %d is another than the one that was posted", i)
		}
	}
	if rec := tb.record("#fen", len(want)); rec.Command != "seal.open" || len(got) != len(want)+1 {
		t.Errorf("%d entries after %d were read back, the first is %s", len(got)-len(want), len(want), rec.Command)
	}
	wants(t, tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; done"), "turn 2")
	tb.say("Eve", "#fen", "/tell Somebody else.") // and not who Dee was
	if a, b := tb.record("#fen", len(want)-2), tb.record("#fen", -1); a.Player == b.Player {
		t.Errorf("Dee and Eve are both %s", a.Player)
	}
	tb.good("#fen")
	next := tb.again(tb.desk.reread)
	wants(t, next.say("Ann", "#fen", "/battle status"), "to move")
	if got := next.say("Ann", "#fen", "/tell On we go."); strings.Contains(got, "put back") {
		t.Errorf("doubted again after it was read back:\n%s", got)
	}
}

// TestRestoredByBoth: while a battle is under way its two players say together how a
// ledger goes on; nobody else does, and nobody can name less than the chat shows.
func TestRestoredByBoth(t *testing.T) {
	y := newYesterday(t)
	y.fight()
	mover, other := y.moves()
	y.copied(t)
	y.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; done")
	last := number64(y.size("#fen") - 1)
	tb := y.restored(t)
	size := tb.size("#fen")
	wants(t, tb.say("Ann", "#fen", "/settings restored "+number64(size-1)), "so the last cannot be #"+number64(size-1))
	wants(t, tb.say("Cy", "#fen", "/settings restored "+last), "say together how it goes on")
	wants(t, tb.say("Ann", "#fen", "/settings restored "+last), "Ann would begin a new ledger", "[Agree]")
	wants(t, tb.say("Ann", "#fen", "/settings restored "+last), "Ann would begin a new ledger") // alone she does not
	id, err := tb.store.Of(t.Context(), "test:#fen")
	if err != nil {
		t.Fatal(err)
	}
	wants(t, tb.pick("Bo", "#fen", "Agree"), "a new one begins")
	now, err := tb.store.Of(t.Context(), "test:#fen")
	if err != nil || now == id {
		t.Errorf("the place still has the old ledger, %v", err)
	}
	tb.say("Ann", "#fen", "/roll 2d6")
	if r := tb.verified("#fen"); r.From == nil || r.From.Ledger != id.String() || r.From.Size != size {
		t.Errorf("the new ledger goes on from %+v", r.From)
	}
}

// Where our own posts cannot be read, a restore cannot be noticed, and the bot says so.
func TestRestoreUnnoticed(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#fen", "/roll 2d6")
	next := tb.again(nil)
	tb.wants(next.say("Cy", "#fen", "/settings restored 2"), "I cannot read my own posts here and would not notice")
	next = tb.again(shownPosts{})
	tb.wants(next.say("Cy", "#fen", "/settings restored 2"), "Nothing here was restored.")
}
