package proof

import (
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"

	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/storage"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// The published proof files are made byte for byte, and open.
func TestProofFileVectors(t *testing.T) {
	p := protocolVectors(t)
	lines := bytesOf(p.Book.Lines)
	for of, want := range map[uint64]string{p.Proof.Of: p.Proof.File, p.Proof.Pending.Of: p.Proof.Pending.File} {
		got, err := ProofFile(lines, of, 42, []byte(p.Book.Checkpoint))
		if err != nil || string(got) != want {
			t.Errorf("of %d: %v\n%s\n%s", of, err, got, want)
		}
		in, err := OpenProof([]byte(want), p.TestKey.VKey)
		if err != nil || in.Index != of || string(in.Entry) != p.Book.Lines[of] || in.Checkpoint.Size != 42 {
			t.Errorf("of %d: %v, %+v", of, err, in)
		}
	}
	for _, c := range p.Proof.Tampered {
		file := p.Proof.File
		if len(c.Replace) == 2 {
			file = strings.Replace(file, c.Replace[0], c.Replace[1], 1)
		}
		if c.DropLine > 0 {
			l := strings.SplitAfter(file, "\n")
			file = strings.Join(append(l[:c.DropLine:c.DropLine], l[c.DropLine+1:]...), "")
		}
		if _, err := OpenProof([]byte(file), p.TestKey.VKey); file == p.Proof.File || !errors.Is(err, ErrProof) {
			t.Errorf("%s: %v", c.What, err)
		}
	}
	for i := range len(p.Proof.File) {
		file := []byte(p.Proof.File)
		file[i] ^= 1
		if _, err := OpenProof(file, p.TestKey.VKey); err == nil {
			t.Fatalf("byte %d changed: opened", i)
		}
	}
	for _, bad := range [][2]uint64{{42, 42}, {3, 43}, {7, 7}} {
		if _, err := ProofFile(lines, bad[0], bad[1], []byte(p.Book.Checkpoint)); !errors.Is(err, ErrProof) {
			t.Errorf("entry %d of %d: %v", bad[0], bad[1], err)
		}
	}
}

// A checkpoint opens, and an entry is found under it, with nothing of ours:
// golang.org/x/mod's note and tlog read the bytes that we publish.
func TestCheckpointByOthers(t *testing.T) {
	p := protocolVectors(t)
	verifier, err := note.NewVerifier(p.TestKey.VKey)
	if err != nil {
		t.Fatal(err)
	}
	file, err := ProofFile(bytesOf(p.Book.Lines), 22, 42, []byte(p.Book.Checkpoint))
	if err != nil {
		t.Fatal(err)
	}
	head, signed, _ := strings.Cut(string(file), "\n\n")
	n, err := note.Open([]byte(signed), note.VerifierList(verifier))
	if err != nil {
		t.Fatal(err)
	}
	root, err := tlog.ParseHash(strings.Split(n.Text, "\n")[2])
	if err != nil {
		t.Fatal(err)
	}
	var path tlog.RecordProof
	for _, line := range strings.Split(head, "\n")[3:] {
		h, err := tlog.ParseHash(line)
		if err != nil {
			t.Fatal(err)
		}
		path = append(path, h)
	}
	if err := tlog.CheckRecord(path, 42, root, 22, tlog.RecordHash([]byte(p.Book.Lines[22]))); err != nil {
		t.Error(err)
	}
	if err := tlog.CheckRecord(path, 42, root, 22, tlog.RecordHash([]byte(p.Book.Lines[23]))); err == nil {
		t.Error("another entry passes")
	}
}

// ids are the sentences of a proof's steps.
func ids(p Proof) (list []string) {
	for _, s := range p.Steps {
		list = append(list, strings.TrimPrefix(s.What.ID, "proof.step."))
	}
	return list
}

func TestProveEntry(t *testing.T) {
	p := protocolVectors(t)
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		seq   uint64
		steps string
		dice  int
		cut   string
		of    uint64
	}{
		{3, "key faces heads checkpoint", 12, "cut-seal", 3},
		{9, "key stood faces heads checkpoint", 19, "cut-round", 9},
		{11, "key stood faces heads checkpoint", 19, "cut-round", 9}, // the cut's number proves what it cuts
		{15, "key stood faces heads checkpoint", 8, "cut-round", 15},
		{21, "key stood faces heads checkpoint", 6, "cut-word", 21},
		{26, "faces heads checkpoint", 15, "cut-again", 26},
		{40, "key heads checkpoint", 0, "", 40},
		{6, "heads checkpoint", 0, "", 6},
	} {
		got, err := ProveEntry(bytesOf(p.Book.Lines), c.seq, []byte(p.Book.Checkpoint))
		if err != nil || !got.Good() || got.Seq != c.of || got.Dice != c.dice || strings.Join(ids(got), " ") != c.steps || got.Waits {
			t.Errorf("%d: %v, %v, %d dice, %v", c.seq, err, got.Fault, got.Dice, ids(got))
		}
		if code, ok := p.Book.Codes[c.of]; ok && got.Code != code {
			t.Errorf("%d: code %s, want %s", c.seq, got.Code, code)
		}
		if (got.File != nil) != (c.dice > 0) || (got.PendingFile != nil) != (got.Cut != nil) {
			t.Errorf("%d: files of %d and %d bytes", c.seq, len(got.File), len(got.PendingFile))
		}
		for _, s := range got.Steps {
			for _, a := range s.What.Args {
				if r, ok := a.Value.(reason.Reason); ok && r.ID != "proof.step."+c.cut {
					t.Errorf("%d: cut %s, want %s", c.seq, r.ID, c.cut)
				}
			}
			if line := words.Flat((words.Speaker{Catalog: catalog}).Reason(s.What)); strings.ContainsAny(line, "{}") || line == "" {
				t.Errorf("%d: %q", c.seq, line)
			}
		}
	}
	if got, err := ProveEntry(bytesOf(p.Book.Lines), 11, []byte(p.Book.Checkpoint)); err != nil || string(got.File) != p.Proof.File || string(got.PendingFile) != p.Proof.Pending.File {
		t.Errorf("proof of 11: %v\n%s\n%s", err, got.File, got.PendingFile)
	}
	if got, err := ProveEntry(bytesOf(p.Book.Lines[:10]), 9, nil); err != nil || !got.Waits || got.File != nil || strings.Join(ids(got), " ") != "key heads" {
		t.Errorf("while it waits: %v, %v", err, ids(got))
	}
	if _, err := ProveEntry(bytesOf(p.Book.Lines), 42, nil); err == nil {
		t.Error("an entry that is not there was proved")
	}
}

// What is wrong with a roll shows in the step that it belongs to.
func TestProveTamperedVectors(t *testing.T) {
	p := protocolVectors(t)
	zeros := strings.Repeat("0", 64)
	for _, c := range []struct {
		what     string
		seq      uint64
		line     int
		old, new string
		rehash   bool
		bad      string
	}{
		{"a face", 3, 3, "[6,4,6,5", "[6,6,6,5", true, "faces-wrong heads-wrong checkpoint-wrong"},
		{"the key", 3, 3, `"key":"f44238dad41abe07dd22e4239e8dc119b676d9aa6eac21e3a098828db7e7f831"`, `"key":"` + zeros + `"`, true, "key-wrong faces-wrong heads-wrong checkpoint-wrong"},
		{"a face at the cut", 9, 11, "[6,1,3,5,1,3", "[6,6,3,5,1,3", true, "faces-wrong heads-wrong checkpoint-wrong"},
		{"an entry before", 9, 3, `"need":4`, `"need":3`, false, "stood-wrong heads-wrong checkpoint-wrong"},
		{"a time before", 9, 3, "01.120Z", "01.121Z", true, "checkpoint-wrong"},
		{"an entry after", 3, 30, "16:04:10.000Z", "16:04:10.001Z", false, "checkpoint-wrong"},
	} {
		lines := append([]string(nil), p.Book.Lines...)
		lines[c.line] = strings.Replace(lines[c.line], c.old, c.new, 1)
		if lines[c.line] == p.Book.Lines[c.line] {
			t.Fatalf("%s: nothing changed", c.what)
		}
		if c.rehash {
			remake(t, lines, false, true)
		}
		got, err := ProveEntry(bytesOf(lines), c.seq, []byte(p.Book.Checkpoint))
		var bad []string
		for i, s := range got.Steps {
			if !s.Good {
				bad = append(bad, ids(got)[i])
			}
		}
		if err != nil || got.Good() || strings.Join(bad, " ") != c.bad || got.File != nil {
			t.Errorf("%s: %v, %v, want %s", c.what, err, ids(got), c.bad)
		}
	}
}

// Every sentence that the code names is in the catalogue.
func TestSentences(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`breaks\([A-Za-z.]+, "([a-z.]+)"|p\.step\([^"]+, "([a-z]+)"|"proof\.((?:fault|step|refuse)\.[a-z.-]+[a-z])"`)
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		b, err := os.ReadFile(f.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range named.FindAllStringSubmatch(string(b), -1) {
			switch {
			case m[1] != "":
				found["proof.fault."+m[1]] = true
			case m[2] != "":
				found["proof.step."+m[2]], found["proof.step."+m[2]+"-wrong"] = true, true
			default:
				found["proof."+m[3]] = true
			}
		}
	}
	for _, kind := range []string{RemarkPractice, RemarkFrom, RemarkWait, RemarkVoid, RemarkGivenUp} {
		found["proof.remark."+kind] = true
	}
	for id := range found {
		if !catalog.Has(id) {
			t.Errorf("no sentence %s", id)
		}
	}
	for _, id := range catalog.IDs() {
		if strings.HasPrefix(id, "proof.") && !found[id] {
			t.Errorf("sentence %s is never said", id)
		}
	}
	if len(found) < 60 {
		t.Errorf("only %d sentences found in the code", len(found))
	}
}

func FuzzOpenProof(f *testing.F) {
	p := protocolVectors(f)
	f.Add([]byte(p.Proof.File))
	f.Add([]byte(p.Proof.Pending.File))
	f.Fuzz(func(t *testing.T, file []byte) {
		in, err := OpenProof(file, p.TestKey.VKey)
		if err != nil {
			return
		}
		again, err := ProofFile(bytesOf(p.Book.Lines), in.Index, in.Checkpoint.Size, []byte(p.Book.Checkpoint))
		if err != nil || string(again) != string(file) {
			t.Fatalf("another file of entry %d opens: %s", in.Index, file)
		}
	})
}

// BenchmarkCheck is the verifier over the published ledger, six signatures of
// rounds among its entries; BenchmarkFollow is the same as the desk folds it.
func BenchmarkCheck(b *testing.B) {
	lines := bytesOf(protocolVectors(b).Book.Lines)
	for b.Loop() {
		if r := Check(lines, Options{}); r.Fault != nil {
			b.Fatal(r.Fault)
		}
	}
}

func BenchmarkFollow(b *testing.B) {
	var records []storage.Record
	for _, line := range protocolVectors(b).Book.Lines {
		rec, err := storage.Parse([]byte(line))
		if err != nil {
			b.Fatal(err)
		}
		records = append(records, rec)
	}
	for b.Loop() {
		book := Book{}
		for _, rec := range records {
			var err error
			if book, err = book.Follow(rec); err != nil {
				b.Fatal(err)
			}
		}
	}
}
