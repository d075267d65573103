package proof

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/storage"
)

func with(checkpoints ...string) Options {
	return Options{Checkpoints: bytesOf(checkpoints)}
}

// wants compares what Check found with the rule and entry that must be found.
func wants(t *testing.T, what string, f *Fault, rule string, entry *int64) {
	t.Helper()
	at := int64(AtEnd)
	if entry != nil {
		at = *entry
	}
	if f == nil || f.Rule != rule || f.Entry != at {
		t.Errorf("%s: %v, want rule %s at %d", what, f, rule, at)
		return
	}
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	if !catalog.Has(f.Why.ID) {
		t.Errorf("%s: no sentence %s", what, f.Why.ID)
	}
	for _, slot := range catalog.Slots(f.Why.ID) {
		if !slices.ContainsFunc(f.Why.Args, func(a reason.Arg) bool { return a.Name == slot }) {
			t.Errorf("%s: nothing fills {%s} of %s", what, slot, f.Why.ID)
		}
	}
}

func TestBookVectors(t *testing.T) {
	p := protocolVectors(t)
	r := Check(bytesOf(p.Book.Lines), with(p.Book.Checkpoint, p.Book.At11))
	if r.Fault != nil {
		t.Fatal(r.Fault)
	}
	if n := len(p.Book.Lines); r.Size != uint64(n) || r.Root.String() != p.Book.Roots[n] || r.VKey != p.TestKey.VKey || r.Practice || r.Covered != uint64(n) {
		t.Errorf("%+v", r)
	}
	if len(r.Signed) != 2 || r.Signed[0].Size != 11 || r.Signed[0].Root.String() != p.Book.Roots[11] {
		t.Errorf("signed %+v", r.Signed)
	}
	var remarks []string
	for _, m := range r.Remarks {
		switch m.Kind {
		case RemarkWait:
			remarks = append(remarks, fmt.Sprintf("wait changed at %d for %d: %s", m.Entry, m.Of, m.Why))
		case RemarkVoid:
			remarks = append(remarks, fmt.Sprintf("voided at %d: %d, %s", m.Entry, m.Of, m.Why))
		default:
			t.Errorf("remark %+v", m)
		}
	}
	if !slices.Equal(remarks, p.Book.Remarks) {
		t.Errorf("remarks %q, want %q", remarks, p.Book.Remarks)
	}
	if r.Seals != 2 || r.Draws != 12 || r.Again != 8 || r.Rounds != 6 || r.Words != 1 || r.Opened != 2 || r.Waiting != 0 {
		t.Errorf("counts %+v", r)
	}
	for size, root := range p.Book.Roots {
		if size == 0 {
			continue
		}
		if got := Check(bytesOf(p.Book.Lines[:size]), Options{}); got.Fault != nil || got.Root.String() != root {
			t.Errorf("root of the first %d: %s, %v, want %s", size, got.Root, got.Fault, root)
		}
	}
}

func TestTamperedVectors(t *testing.T) {
	p := protocolVectors(t)
	if n := len(p.Tampered.Cases); n < 100 {
		t.Fatalf("%d cases", n)
	}
	for _, c := range p.Tampered.Cases {
		checkpoint := c.Checkpoint
		if checkpoint == "" {
			checkpoint = p.Book.Checkpoint
		}
		r := Check(bytesOf(c.apply(t, p.Book.Lines)), with(checkpoint))
		wants(t, c.What, r.Fault, c.Rule, c.Entry)
	}
}

func TestSmallBookVectors(t *testing.T) {
	p := protocolVectors(t)
	if len(p.Small) != 3 {
		t.Fatalf("%d books", len(p.Small))
	}
	for _, b := range p.Small {
		r := Check(bytesOf(b.Lines), with(b.Checkpoint))
		if r.Fault != nil || r.Covered != uint64(len(b.Lines)) {
			t.Errorf("%s: %v, %+v", b.What, r.Fault, r)
		}
		for _, c := range b.Tampered {
			r := Check(bytesOf(c.apply(t, b.Lines)), with(b.Checkpoint))
			wants(t, b.What+": "+c.What, r.Fault, c.Rule, c.Entry)
		}
	}
	r := Check(bytesOf(p.Small[0].Lines), Options{})
	var kinds []string
	for _, m := range r.Remarks {
		kinds = append(kinds, m.Kind)
	}
	if want := []string{RemarkFrom, RemarkPractice, RemarkGivenUp, RemarkVoid}; !slices.Equal(kinds, want) {
		t.Errorf("remarks %v, want %v", kinds, want)
	}
	if g := r.Remarks[2]; g.Keys != 1 || g.Why != Restored || g.Entry != 6 {
		t.Errorf("given up: %+v", g)
	}
	if !r.Practice || r.From == nil || r.From.Size != 11 {
		t.Errorf("%+v", r)
	}
}

// Both checkpoints are good signatures of the bot: together they prove two
// histories, while either history verifies alone.
func TestForkVectors(t *testing.T) {
	p := protocolVectors(t)
	other := p.Fork.apply(t, p.Book.Lines)
	if r := Check(bytesOf(other), with(p.Fork.Checkpoint)); r.Fault != nil {
		t.Errorf("the second ledger alone: %v", r.Fault)
	}
	for _, lines := range [][]string{p.Book.Lines, other} {
		r := Check(bytesOf(lines), with(p.Book.Checkpoint, p.Fork.Checkpoint))
		wants(t, "fork", r.Fault, RuleFork, nil)
	}
	// Of two sizes: the first's earlier checkpoint against the second's history.
	r := Check(bytesOf(other), with(p.Book.At11, p.Fork.Checkpoint))
	wants(t, "fork of two sizes", r.Fault, RuleFork, nil)
	if forked, err := Forked(p.TestKey.VKey, []byte(p.Book.Checkpoint), []byte(p.Fork.Checkpoint)); err != nil || !forked {
		t.Errorf("forked %v, %v", forked, err)
	}
	if forked, err := Forked(p.TestKey.VKey, []byte(p.Book.Checkpoint), []byte(p.Book.At11)); err != nil || forked {
		t.Errorf("not forked: %v, %v", forked, err)
	}
	if _, err := Forked(p.TestKey.VKey, []byte(p.Book.Checkpoint), []byte("x")); err == nil {
		t.Error("forked by what is no checkpoint")
	}
}

func TestWindowVectors(t *testing.T) {
	p := protocolVectors(t)
	w := p.Windows
	if len(w.Cases) != 7 {
		t.Fatalf("%d cases", len(w.Cases))
	}
	for _, c := range w.Cases {
		parts := slices.Clone(w.Base)
		for range c.Filler {
			parts = append(parts, w.Filler)
		}
		parts = append(parts, c.Tail...)
		lines, head := make([][]byte, len(parts)), storage.Hash{}
		for i, part := range parts {
			m := map[string]any{"v": 1, "seq": i, "ledger": w.Ledger, "head": head.String()}
			for name, value := range part {
				m[name] = value
			}
			b, err := storage.Canon(m)
			if err != nil {
				t.Fatal(err)
			}
			lines[i], head = b, storage.LeafHash(b)
		}
		r := Check(lines, Options{})
		if c.Rule != "" {
			wants(t, c.What, r.Fault, c.Rule, &c.Last)
		} else if r.Fault != nil || r.Root.String() != c.Root || int64(len(lines)) != c.Last+1 {
			t.Errorf("%s: %v, root %s, want %s", c.What, r.Fault, r.Root, c.Root)
		}
	}
}

// Any byte of an exported ledger that is flipped, and any bit of its checkpoint,
// is found. Of a byte of the entries one bit is flipped, each byte's another.
func TestEveryByteOfAFile(t *testing.T) {
	p := protocolVectors(t)
	b := p.Small[0]
	file := []byte(strings.Join(b.Lines, "\n") + "\n")
	check := func(file []byte, checkpoint string) *Fault {
		lines, err := SplitLines(file)
		if err != nil {
			return faultAt(AtEnd, err)
		}
		return Check(lines, with(checkpoint)).Fault
	}
	if f := check(file, b.Checkpoint); f != nil {
		t.Fatal(f)
	}
	for i := range file {
		file[i] ^= 1 << (i % 8)
		if check(file, b.Checkpoint) == nil {
			t.Fatalf("byte %d, bit %d of the entries", i, i%8)
		}
		file[i] ^= 1 << (i % 8)
	}
	for i := range b.Checkpoint {
		for bit := range 8 {
			c := []byte(b.Checkpoint)
			c[i] ^= 1 << bit
			if check(file, string(c)) == nil {
				t.Fatalf("byte %d, bit %d of the checkpoint", i, bit)
			}
		}
	}
}

// Without a checkpoint the last entry can be rewritten, and the report says so.
func TestUncovered(t *testing.T) {
	p := protocolVectors(t)
	if r := Check(bytesOf(p.Book.Lines), with(p.Book.At11)); r.Fault != nil || r.Covered != 11 {
		t.Errorf("covered %d, %v", r.Covered, r.Fault)
	}
	if r := Check(nil, Options{}); r.Fault == nil || r.Fault.Rule != storage.RuleSeq {
		t.Errorf("no entries: %v", r.Fault)
	}
}

func TestKeysGiven(t *testing.T) {
	p := protocolVectors(t)
	opt := with(p.Book.Checkpoint)
	opt.Keys = []string{p.TestKey.VKey}
	if r := Check(bytesOf(p.Book.Lines), opt); r.Fault != nil {
		t.Error(r.Fault)
	}
	name, id, public, err := storage.ParseVKey(p.TestKey.VKey)
	if err != nil {
		t.Fatal(err)
	}
	public = slices.Clone(public)
	public[0] ^= 1
	other, err := storage.VKey(name, id, public)
	if err != nil {
		t.Fatal(err)
	}
	opt.Keys = []string{other}
	zero := int64(0)
	wants(t, "another key of that name is trusted", Check(bytesOf(p.Book.Lines), opt).Fault, storage.RuleForm, &zero)
	opt.Keys = []string{"no key"}
	wants(t, "a key that is none", Check(bytesOf(p.Book.Lines), opt).Fault, RuleCheckpoint, nil)
}

// Words beside the ledger are what the entries' hashes stand for, and nothing else.
func TestWords(t *testing.T) {
	p := protocolVectors(t)
	// The value that #11 opens is what #6 said, so it serves as its words.
	rec, err := storage.Parse([]byte(p.Book.Lines[11]))
	if err != nil {
		t.Fatal(err)
	}
	c, err := CommandOf(rec)
	if err != nil || len(c.Opened) != 1 {
		t.Fatalf("%+v, %v", c, err)
	}
	word := storage.Word{Seq: c.Opened[0].Of, Name: "said", Salt: unhex(t, c.Opened[0].Salt), Text: string(c.Opened[0].Value)}
	opt := with(p.Book.Checkpoint)
	opt.Words = []storage.Word{word}
	if r := Check(bytesOf(p.Book.Lines), opt); r.Fault != nil || r.Said != 1 {
		t.Errorf("%v, %d said", r.Fault, r.Said)
	}
	six, beyond := int64(6), opt.Words[0]
	opt.Words[0].Text += " "
	wants(t, "other words", Check(bytesOf(p.Book.Lines), opt).Fault, RuleWords, &six)
	beyond.Seq = 42
	opt.Words[0] = beyond
	wants(t, "words of no entry", Check(bytesOf(p.Book.Lines), opt).Fault, RuleWords, nil)
}

// FuzzCheck: nothing that a file holds makes the verifier panic, and what it
// finds good has one spelling.
func FuzzCheck(f *testing.F) {
	p := protocolVectors(f)
	for _, b := range p.Small {
		f.Add([]byte(strings.Join(b.Lines, "\n") + "\n"))
	}
	for _, c := range p.Small[0].Tampered {
		f.Add([]byte(strings.Join(c.apply(f, p.Small[0].Lines), "\n") + "\n"))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		lines, err := SplitLines(file)
		if err != nil {
			return
		}
		r := Check(lines, Options{})
		if r.Fault == nil && r.Size != uint64(len(lines)) {
			t.Fatalf("%d entries of %d found good, and no fault", r.Size, len(lines))
		}
		if r.Fault != nil && !json.Valid([]byte(`"`+r.Fault.Rule+`"`)) {
			t.Fatalf("rule %q", r.Fault.Rule)
		}
	})
}
