package ledgers

import (
	"bytes"
	"strings"
	"time"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// maxSeq is the largest number an entry can have: keys hold 32 bits.
const maxSeq = 1<<32 - 1

// The span of due times; their key holds milliseconds since 1970.
const (
	firstYear = 1970
	lastYear  = 9999
)

// checkName refuses a name that is empty, too long, or holds byte 0, which
// parts names in keys.
func checkName(what, name string) error {
	if name == "" {
		return invalid("%s is empty", what)
	}
	return checkOptional(what, name)
}

func checkOptional(what, name string) error {
	if len(name) > storage.MaxName {
		return invalid("%s has %d bytes, at most %d are taken", what, len(name), storage.MaxName)
	}
	if strings.IndexByte(name, 0) >= 0 {
		return invalid("%s %q holds byte 0", what, name)
	}
	return nil
}

func checkCount(what string, n int) error {
	if n > storage.MaxParts {
		return invalid("%d %s, at most %d are taken", n, what, storage.MaxParts)
	}
	return nil
}

// checkBatch tests everything that needs no look into the store.
func checkBatch(b *storage.Batch) error {
	for _, check := range []func(*storage.Batch) error{
		checkEntries, checkAbout, checkWords, checkPlayers, checkPosts, checkTimers, checkSecret,
	} {
		if err := check(b); err != nil {
			return err
		}
	}
	return nil
}

func checkEntries(b *storage.Batch) error {
	if n := len(b.Entries); n == 0 || n > storage.MaxEntries {
		return invalid("%d entries, 1 to %d are taken", n, storage.MaxEntries)
	}
	for i, e := range b.Entries {
		if want := b.Expect.Size + uint64(i); e.Seq != want {
			return invalid("entry %d of the batch has seq %d, %d expected", i, e.Seq, want)
		}
		if e.Seq > maxSeq {
			return invalid("seq %d is too large, a ledger ends at %d", e.Seq, uint64(maxSeq))
		}
		if n := len(e.Bytes); n == 0 || n > storage.MaxEntry {
			return invalid("entry %d has %d bytes, 1 to %d are taken", e.Seq, n, storage.MaxEntry)
		}
		if bytes.IndexByte(e.Bytes, '\n') >= 0 {
			return invalid("entry %d holds a line end; canonical JSON has none", e.Seq)
		}
	}
	return nil
}

func checkAbout(b *storage.Batch) error {
	if b.Expect.Ledger == (storage.LedgerID{}) {
		return invalid("the id of the ledger is all zeros: a random one is expected")
	}
	if b.Expect.Size == 0 {
		if err := checkName("the community of a first entry", b.Community); err != nil {
			return err
		}
		if err := checkName("the place of a first entry", b.Place); err != nil {
			return err
		}
		if len(b.Salt) != layout.SaltLen {
			return invalid("the salt of a first entry has %d bytes, %d expected", len(b.Salt), layout.SaltLen)
		}
	}
	if len(b.Source) > storage.MaxSource {
		return invalid("the source has %d bytes, at most %d are taken", len(b.Source), storage.MaxSource)
	}
	return nil
}

func checkWords(b *storage.Batch) error {
	if err := checkCount("words", len(b.Words)); err != nil {
		return err
	}
	type place struct {
		seq  uint64
		name string
	}
	taken := map[place]bool{}
	last := b.Expect.Size + uint64(len(b.Entries)) - 1
	for _, w := range b.Words {
		if w.Seq < b.Expect.Size || w.Seq > last {
			return invalid("word %q belongs to entry %d, the batch has entries %d to %d", w.Name, w.Seq, b.Expect.Size, last)
		}
		if err := checkName("the name of a word", w.Name); err != nil {
			return err
		}
		if len(w.Salt) != layout.SaltLen {
			return invalid("the salt of word %q has %d bytes, %d expected", w.Name, len(w.Salt), layout.SaltLen)
		}
		if len(w.Text) > storage.MaxWord {
			return invalid("word %q has %d bytes, at most %d are taken", w.Name, len(w.Text), storage.MaxWord)
		}
		if at := (place{w.Seq, w.Name}); taken[at] {
			return invalid("word %q of entry %d is given twice", w.Name, w.Seq)
		} else {
			taken[at] = true
		}
	}
	return nil
}

func checkPlayers(b *storage.Batch) error {
	if err := checkCount("players", len(b.Players)); err != nil {
		return err
	}
	taken := map[string]bool{}
	for _, p := range b.Players {
		if err := checkName("a pseudonym", p.Pseudonym); err != nil {
			return err
		}
		if err := checkName("the person behind "+p.Pseudonym, p.Person); err != nil {
			return err
		}
		if taken[p.Pseudonym] {
			return invalid("pseudonym %q is given twice", p.Pseudonym)
		}
		taken[p.Pseudonym] = true
	}
	return nil
}

func checkPosts(b *storage.Batch) error {
	if n := len(b.Posts); n > storage.MaxPosts {
		return invalid("%d posts, at most %d are taken", n, storage.MaxPosts)
	}
	for i, p := range b.Posts {
		if err := checkName("the place of a post", p.Place); err != nil {
			return err
		}
		if len(p.Bytes) > storage.MaxPost {
			return invalid("post %d has %d bytes, at most %d are taken", i, len(p.Bytes), storage.MaxPost)
		}
	}
	return nil
}

func checkTimers(b *storage.Batch) error {
	for _, part := range []struct {
		what string
		n    int
	}{{"timers to set", len(b.Set)}, {"timers to cancel", len(b.Cancel)}, {"timers fired", len(b.Fired)}} {
		if err := checkCount(part.what, part.n); err != nil {
			return err
		}
	}
	fired := map[string]bool{}
	for _, f := range b.Fired {
		if fired[f.Name] {
			return invalid("timer %q is fired twice", f.Name)
		}
		fired[f.Name] = true
	}
	set := map[string]bool{}
	for _, t := range b.Set {
		if err := checkTimer(t); err != nil {
			return err
		}
		if set[t.Name] {
			return invalid("timer %q is set twice", t.Name)
		}
		set[t.Name] = true
	}
	return nil
}

func checkTimer(t storage.Timer) error {
	if err := checkName("the name of a timer", t.Name); err != nil {
		return err
	}
	if len(t.Bytes) > storage.MaxTimer {
		return invalid("timer %q has %d bytes, at most %d are taken", t.Name, len(t.Bytes), storage.MaxTimer)
	}
	if y := t.Due.UTC().Year(); y < firstYear || y > lastYear {
		return invalid("timer %q is due at %s, a year from %d to %d expected", t.Name, t.Due.Format(time.RFC3339), firstYear, lastYear)
	}
	return nil
}

func checkSecret(b *storage.Batch) error {
	if n := len(b.Secret); n > storage.MaxSecret {
		return invalid("the secret has %d bytes, at most %d are taken", n, storage.MaxSecret)
	}
	return nil
}
