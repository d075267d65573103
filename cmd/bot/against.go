package main

import (
	"bytes"
	"iter"

	"drumhead/commands/proof"
	"drumhead/storage"
)

// compare holds another copy of the ledger against this one, entry by entry. Two
// histories of one ledger are a fork, and the error is errSaid.
func (e *evidence) compare(s speech, other *evidence, keys []string) error {
	here, err := e.check(keys)
	if err != nil {
		return err
	}
	there, err := other.check(keys)
	if err != nil {
		return err
	}
	if here.Size == 0 || there.Size == 0 || here.Ledger != there.Ledger {
		s.line("verify.against.ledger", "other", other.path, "ledger", there.Ledger.String())
		return errSaid
	}
	at, mine, theirs, err := e.parts(other)
	switch {
	case err != nil:
		return err
	case mine != nil && theirs != nil:
		s.fork(e, other, at, mine, theirs)
		s.whose(e, here, there, other, uint64(at))
		return errSaid
	case mine != nil:
		s.line("verify.against.shorter", "other", other.path, "count", at)
	case theirs != nil:
		s.line("verify.against.longer", "other", other.path, "count", at)
	default:
		s.line("verify.against.same", "other", other.path, "count", at)
	}
	return nil
}

// parts finds the first line in which two ledgers differ: its number, and how each
// has it, nil for the one that has ended there.
func (e *evidence) parts(other *evidence) (at int, mine, theirs []byte, err error) {
	next, stop := iter.Pull2(other.lines())
	defer stop()
	for line, err := range e.lines() {
		if err != nil {
			return at, nil, nil, err
		}
		there, err, more := next()
		if err != nil || !more || !bytes.Equal(line, there) {
			return at, line, there, err
		}
		at++
	}
	there, err, _ := next()
	return at, nil, there, err
}

// fork names the first entry that is not the same, by what it hashes to.
func (s speech) fork(e, other *evidence, at int, mine, theirs []byte) {
	id := "verify.against.fork"
	if at == 0 {
		id = "verify.against.start"
	}
	s.line(id, "last", at-1, "entry", at, "file", e.path, "other", other.path,
		"here", storage.LeafHash(mine).String()[:16], "there", storage.LeafHash(theirs).String()[:16])
}

// whose tells which of two histories a checkpoint of the ledger's key covers at
// the entry where they part.
func (s speech) whose(e *evidence, here, there proof.Report, other *evidence, at uint64) {
	switch mine, theirs := here.Covered > at, there.Covered > at; {
	case here.VKey != there.VKey:
		s.line("verify.against.keys")
	case mine && theirs:
		s.line("verify.against.both")
	case mine != theirs:
		path := e.path
		if theirs {
			path = other.path
		}
		s.line("verify.against.one", "file", path)
	default:
		s.line("verify.against.neither")
	}
}
