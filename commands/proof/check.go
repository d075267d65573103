package proof

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"iter"
	"strings"

	"drumhead/storage"
)

// ErrLines is wrapped by the error for a file that does not hold one entry a line.
var ErrLines = errors.New("one entry a line expected, each line ended")

// SplitLines takes the entries out of an exported ledger.
func SplitLines(file []byte) ([][]byte, error) {
	if len(file) == 0 || file[len(file)-1] != '\n' {
		return nil, ErrLines
	}
	return bytes.Split(file[:len(file)-1], []byte("\n")), nil
}

// Check verifies a ledger from its first entry on: the form of every entry,
// heads, numbers, times, sources, seals, draws, keys, cuts, every face, dice
// that stand again, what was opened, battles that wait, and the checkpoints
// given. The report's Fault is the first thing wrong; its counts are about the
// entries before. lines are whole entries without line ends.
func Check(lines [][]byte, opt Options) Report {
	r, _ := CheckEach(func(yield func([]byte, error) bool) { // memory has no errors
		for _, line := range lines {
			if !yield(line, nil) {
				return
			}
		}
	}, opt)
	return r
}

// CheckEach is Check for a ledger that is read line by line, so that one of a
// million entries takes hardly more memory than one of a thousand. The error is the
// reader's.
func CheckEach(lines iter.Seq2[[]byte, error], opt Options) (Report, error) {
	c := newChecker(opt)
	n := int64(0)
	for line, err := range lines {
		if err != nil {
			return c.finish(), err
		}
		if err := c.line(line); err != nil {
			c.Fault = faultAt(n, err)
			return c.finish(), nil
		}
		n++
	}
	if err := c.end(); err != nil {
		c.Fault = faultAt(AtEnd, err)
	}
	return c.finish(), nil
}

// EachLine reads a ledger's file, a line for each entry. It fails with ErrLines on a
// line that is longer than any entry, or that does not end.
func EachLine(file io.Reader) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		in := bufio.NewReaderSize(file, storage.MaxEntry+2)
		for {
			line, err := in.ReadSlice('\n')
			switch {
			case err == io.EOF && len(line) == 0:
				return
			case err == io.EOF, err == bufio.ErrBufferFull:
				yield(nil, ErrLines)
				return
			case err != nil:
				yield(nil, err)
				return
			}
			if !yield(bytes.Clone(line[:len(line)-1]), nil) { // what is read from it may be kept
				return
			}
		}
	}
}

// checker goes through a ledger once.
type checker struct {
	Report
	opt     Options
	book    Book
	last    storage.Hash // leaf of the entry before
	tree    storage.Frontier
	sources map[string]uint64 // source → seq of its newest entry
	said    map[uint64]string // seq → its args.said
	battles map[uint64]bool   // seq of every battle.begin
	words   map[uint64][]storage.Word
}

func newChecker(opt Options) *checker {
	c := &checker{opt: opt, book: NewBook(opt.Chains...), sources: map[string]uint64{}, said: map[uint64]string{}, battles: map[uint64]bool{}, words: map[uint64][]storage.Word{}}
	for _, w := range opt.Words {
		c.words[w.Seq] = append(c.words[w.Seq], w)
	}
	return c
}

// line checks the next entry and takes it up.
func (c *checker) line(line []byte) error {
	rec, err := storage.Parse(line)
	if err != nil {
		return err
	}
	for _, rule := range []func(storage.Record) error{c.place, c.moment, c.source, c.open, c.battle, c.saidAt, c.opened} {
		if err := rule(rec); err != nil {
			return err
		}
	}
	before := c.book
	verify := before.Verify
	if c.opt.skim != nil && c.opt.skim(rec.Seq) {
		verify = before.Follow
	}
	after, err := verify(rec)
	if err != nil {
		return err
	}
	c.book = after
	if err := c.spoken(rec); err != nil {
		return err
	}
	if err := c.replay(rec); err != nil {
		return err
	}
	c.took(rec, storage.LeafHash(line), before)
	return nil
}

// place checks that the entry stands where it says: in this ledger, with the
// next number, after the entry before.
func (c *checker) place(rec storage.Record) error {
	if c.Size == 0 {
		c.Ledger = rec.Ledger
	}
	switch {
	case rec.Ledger != c.Ledger:
		return breaks(storage.RuleLedger, "ledger", "ledger", c.Ledger.String())
	case rec.Seq != c.Size:
		return breaks(storage.RuleSeq, "seq", "seq", int64(rec.Seq), "want", int64(c.Size))
	case rec.Head != c.last:
		return breaks(storage.RuleHead, "head", "before", int64(c.Size)-1)
	}
	return nil
}

// moment checks that time does not run backwards.
func (c *checker) moment(rec storage.Record) error {
	if c.Size > 0 && rec.Time.Before(c.Last) {
		return breaks(storage.RuleTime, "time", "before", storage.FormatTime(c.Last))
	}
	return nil
}

// source checks that one message acts once.
func (c *checker) source(rec storage.Record) error {
	if rec.Source == "" {
		return nil
	}
	if of, ok := c.sources[rec.Source]; ok && rec.Seq-of <= Reach {
		return breaks(storage.RuleSource, "source", "of", int64(of))
	}
	c.sources[strings.Clone(rec.Source)] = rec.Seq // not a part of the entry's text, which would be kept with it
	if len(c.sources) > 2*Reach {
		for s, of := range c.sources {
			if rec.Seq-of > Reach {
				delete(c.sources, s)
			}
		}
	}
	return nil
}

// took counts an entry that was found good.
func (c *checker) took(rec storage.Record, leaf storage.Hash, before Book) {
	if c.opt.seen != nil {
		c.opt.seen(rec, leaf, before)
	}
	if c.Size == 0 {
		c.First = rec.Time
	}
	c.last, c.Last, c.Size = leaf, rec.Time, rec.Seq+1
	c.tree.Add(leaf)
	for i := range c.notes {
		if c.notes[i].checkpoint.Size == c.Size {
			c.notes[i].root, c.notes[i].reached = c.tree.Root(), true
		}
	}
	c.count(rec)
	c.remark(rec, before)
}

func (c *checker) count(rec storage.Record) {
	if rec.Draw > 0 {
		c.Draws++
	}
	if rec.Again != nil {
		c.Again++
	}
	for _, run := range rec.Faces {
		c.Dice += len(run) - 1
	}
	switch rec.Command {
	case "cut", "seal.cut":
		if _, ok := storage.Member(rec.Args, "signature"); ok {
			c.Rounds++
		}
		if _, ok := storage.Member(rec.Args, "word"); ok && rec.Command == "cut" {
			c.Report.Words++
		}
	case "seal.open":
		c.Seals++
	}
}

// remark lists what is allowed and must be seen.
func (c *checker) remark(rec storage.Record, before Book) {
	r := Remark{Kind: rec.Command, Entry: rec.Seq}
	switch rec.Command {
	case "wait", "void":
		r.Of, _ = numberIn(rec.Args, "of")
		r.Why = textIn(rec.Args, "why")
	case "seal.open":
		r.Kind, r.Why = RemarkGivenUp, textIn(rec.Args, "why")
		for _, s := range []*seal{before.seal, before.next} {
			if s != nil && r.Why != Spent {
				r.Keys += s.left()
			}
		}
		if r.Keys == 0 {
			return
		}
	default:
		return
	}
	c.Remarks = append(c.Remarks, r)
}

// finish fills in what is known at the end, good or bad.
func (c *checker) finish() Report {
	c.Root = c.tree.Root()
	c.Waiting, c.stands = len(c.book.wait), c.book
	c.Rules = c.opt.Replay != nil && len(c.Missing) == 0 && c.Replayed == int(c.Size)
	return c.Report
}

func textIn(args storage.Object, name string) string {
	value, _ := storage.Member(args, name)
	text, _ := storage.Text(value)
	return text
}
