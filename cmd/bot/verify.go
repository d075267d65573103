package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/storage"
)

// list is a flag that may be given several times.
type list []string

func (l *list) String() string     { return strings.Join(*l, " ") }
func (l *list) Set(v string) error { *l = append(*l, v); return nil }

// verify checks a ledger without the bot that made it.
func verify(c *call) error {
	var checkpoints, keys, others list
	c.flags.Var(&checkpoints, "checkpoint", "a signed checkpoint (usual: NAME.checkpoint beside the ledger); may be given several times")
	c.flags.Var(&keys, "key", "a verifier key that you trust by other means; may be given several times")
	c.flags.Var(&others, "against", "another copy of the ledger: finds the entry where they part; may be given several times")
	rest, err := c.parse(1)
	if err != nil {
		return err
	}
	if len(rest) == 0 {
		return fmt.Errorf("%w: which ledger? As in bot verify table.jsonl", errUsage)
	}
	e, err := gather(rest[0], checkpoints)
	if err != nil {
		return err
	}
	catalog, err := words.English()
	if err != nil {
		return err
	}
	s := speech{c.out, words.Speaker{Catalog: catalog}}
	verdict := e.judge(s, keys)
	for _, path := range others {
		other, err := gather(path, nil)
		if err != nil {
			return err
		}
		if err := e.compare(s, other, keys); err != nil {
			verdict = err
		}
	}
	return verdict
}

// gather reads a ledger and what lies beside it.
func gather(path string, checkpoints []string) (*evidence, error) {
	e := &evidence{path: path, files: map[string][]byte{}}
	return e, e.read(checkpoints)
}

// evidence is a ledger's file and what lies beside it.
type evidence struct {
	path    string
	any     bool     // there is a line
	signed  [][]byte // checkpoints
	words   []storage.Word
	files   map[string][]byte
	strange []string // files that are not what their name says
}

// read reads the ledger, the checkpoints named or else the one beside it, and
// the words beside it. Pinned files are read when an entry asks for one.
func (e *evidence) read(checkpoints []string) error {
	if at, err := os.Stat(e.path); err == nil && at.IsDir() {
		return fmt.Errorf("%s is a directory; expected the file of a ledger, as in bot verify %s", e.path, filepath.Join(e.path, "table.jsonl"))
	}
	for line, err := range e.lines() {
		if err != nil {
			return err
		}
		if bytes.HasSuffix(line, []byte("\r")) {
			return fmt.Errorf("%s: its lines end with carriage return and line feed; expected line feeds alone, as bot export writes them: something changed the file on its way", e.path)
		}
		e.any = true
		break
	}
	if !e.any {
		return e.unread(proof.ErrLines)
	}
	base := strings.TrimSuffix(e.path, ".jsonl")
	for _, path := range checkpoints {
		note, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		e.signed = append(e.signed, note)
	}
	if len(checkpoints) == 0 {
		note, err := os.ReadFile(base + ".checkpoint")
		if err == nil {
			e.signed = [][]byte{note}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	said, err := os.ReadFile(base + ".words.jsonl")
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil {
		e.words, err = proof.ParseWords(said)
	}
	if err != nil {
		return fmt.Errorf("%s.words.jsonl: %w", base, err)
	}
	return nil
}

// lines reads the entries, a line each.
func (e *evidence) lines() iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		f, err := os.Open(e.path)
		if err != nil {
			yield(nil, err)
			return
		}
		defer f.Close()
		for line, err := range proof.EachLine(f) {
			if !yield(line, e.unread(err)) {
				return
			}
		}
	}
}

// unread says what is wrong with a file that holds no lines.
func (e *evidence) unread(err error) error {
	if !errors.Is(err, proof.ErrLines) {
		return err
	}
	return fmt.Errorf("%s: %w; the file is cut short, or no ledger", e.path, proof.ErrLines)
}

// file finds a pinned file beside the ledger by its hash.
func (e *evidence) file(hash string) ([]byte, bool) {
	if b, ok := e.files[hash]; ok {
		return b, b != nil
	}
	b, err := os.ReadFile(filepath.Join(filepath.Dir(e.path), filepath.Base(hash)+".toml"))
	if err == nil {
		if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != hash {
			e.strange = append(e.strange, hash+".toml")
			b = nil
		}
	}
	e.files[hash] = b
	return b, b != nil
}

// judge checks everything and says in words what was checked. The error is
// errSaid if something is wrong.
func (e *evidence) judge(s speech, keys []string) error {
	r, err := e.check(keys)
	if err != nil {
		return err
	}
	if r.Size == 0 {
		s.line("verify.none", "file", filepath.Base(e.path))
		return s.fault(r.Fault)
	}
	s.line("verify.ledger", "file", filepath.Base(e.path), "ledger", r.Ledger.String(), "size", int(r.Size),
		"first", stamp(r.First), "last", stamp(r.Last))
	s.checked(r)
	s.rules(r, e.strange)
	s.signed(r, len(e.signed) > 0, strings.TrimSuffix(filepath.Base(e.path), ".jsonl")+".checkpoint")
	if len(e.words) > 0 {
		s.line("verify.words", "count", r.Said)
	}
	for _, m := range r.Remarks {
		s.say1(s.say.Reason(m.Reason()))
	}
	key := unused(keys, r)
	switch {
	case r.Fault != nil:
		return s.fault(r.Fault)
	case key != "":
		s.line("verify.bad.key", "key", key)
	case len(e.strange) > 0:
		s.line("verify.bad.file", "file", e.strange[0])
	case len(r.Missing) > 0:
		s.line("verify.bad.missing", "count", int(r.Size)-r.Replayed)
	default:
		s.line("verify.good")
		return nil
	}
	return errSaid
}

// check checks everything that was read.
func (e *evidence) check(keys []string) (proof.Report, error) {
	return proof.CheckEach(e.lines(), proof.Options{Checkpoints: e.signed, Keys: keys, Words: e.words, Replay: proof.NewReplay(e.file)})
}

// fault names the first thing that is wrong.
func (s speech) fault(f *proof.Fault) error {
	why := s.say.Reason(f.Why)
	if f.Entry == proof.AtEnd {
		s.line("verify.bad.end", "why", why)
	} else {
		s.line("verify.bad.entry", "entry", f.Entry, "line", f.Entry+1, "why", why)
	}
	return errSaid
}

// speech says sentences, one a line.
type speech struct {
	out io.Writer
	say words.Speaker
}

func (s speech) say1(line chat.Line) { fmt.Fprintln(s.out, words.Flat(line)) }

func (s speech) line(id string, slots ...any) { s.say1(s.say.Say(id, slots...)) }

// checked tells what was found good in the entries themselves.
func (s speech) checked(r proof.Report) {
	s.line("verify.heads", "count", int(r.Size))
	dice := "verify.dice"
	if r.Draws == 0 {
		dice = "verify.nodice"
	}
	s.line(dice, "draws", r.Draws, "seals", r.Seals, "dice", r.Dice)
	for _, also := range []struct {
		id    string
		count int
	}{{"rounds", r.Rounds}, {"cuts", r.Words}, {"again", r.Again}, {"opened", r.Opened}, {"waiting", r.Waiting}} {
		if also.count > 0 {
			s.line("verify."+also.id, "count", also.count)
		}
	}
}

// rules tells how far the rules were replayed.
func (s speech) rules(r proof.Report, strange []string) {
	if r.Rules {
		s.line("verify.rules.all", "count", r.Replayed)
	} else {
		s.line("verify.rules.some", "count", r.Replayed)
	}
	for _, hash := range r.Missing {
		s.line("verify.rules.missing", "file", hash+".toml")
	}
	for _, name := range strange {
		s.line("verify.rules.strange", "file", name)
	}
}

// signed tells what the checkpoints say, or that there is none.
func (s speech) signed(r proof.Report, given bool, expected string) {
	if !given {
		s.line("verify.unsigned", "file", expected)
		return
	}
	for _, n := range r.Signed {
		s.line("verify.signed", "key", r.VKey, "size", int(n.Size))
		for _, name := range n.Cosigners {
			s.line("verify.cosigned", "name", name)
		}
	}
	if r.Fault == nil && r.Covered < r.Size {
		s.line("verify.younger", "count", int(r.Size-r.Covered))
	}
}

// unused finds a key that was given and had nothing to do with this ledger.
func unused(keys []string, r proof.Report) string {
next:
	for _, key := range keys {
		name, _, _ := strings.Cut(key, "+")
		if key == r.VKey {
			continue
		}
		for _, n := range r.Signed {
			for _, c := range n.Cosigners {
				if c == name {
					continue next
				}
			}
		}
		return key
	}
	return ""
}

// stamp is a time as a verifier shows it.
func stamp(t time.Time) string { return t.UTC().Format("2 January 2006 15:04 UTC") }
