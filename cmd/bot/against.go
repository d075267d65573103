package main

import (
	"bytes"

	"drumhead/commands/proof"
	"drumhead/storage"
)

// compare holds another copy of the ledger against this one, entry by entry. Two
// histories of one ledger are a fork, and the error is errSaid.
func (e *evidence) compare(s speech, other *evidence, keys []string) error {
	here, there := e.check(keys), other.check(keys)
	name := other.path
	if here.Size == 0 || there.Size == 0 || here.Ledger != there.Ledger {
		s.line("verify.against.ledger", "other", name, "ledger", there.Ledger.String())
		return errSaid
	}
	n := min(len(e.lines), len(other.lines))
	for i := range n {
		if !bytes.Equal(e.lines[i], other.lines[i]) {
			s.fork(e, other, i)
			s.whose(e, here, there, other, uint64(i))
			return errSaid
		}
	}
	id := "verify.against.same"
	switch {
	case len(other.lines) < len(e.lines):
		id = "verify.against.shorter"
	case len(other.lines) > len(e.lines):
		id = "verify.against.longer"
	}
	s.line(id, "other", name, "count", n)
	return nil
}

// fork names the first entry that is not the same, by what it hashes to.
func (s speech) fork(e, other *evidence, at int) {
	id := "verify.against.fork"
	if at == 0 {
		id = "verify.against.start"
	}
	s.line(id, "last", at-1, "entry", at, "file", e.path, "other", other.path,
		"here", storage.LeafHash(e.lines[at]).String()[:16], "there", storage.LeafHash(other.lines[at]).String()[:16])
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
