package storagetest

import (
	"fmt"
	"strings"
	"time"

	"drumhead/storage"
)

// limitCases tests every limit from both sides: what is allowed is stored, one
// more is refused with ErrInvalid and stores nothing.
func limitCases() []tested {
	cases := append(limitsOfEntries(), limitsBeside()...)
	return append(cases, tested{"shapes of a batch", shapes}, tested{"shapes of a first batch", firstShapes})
}

func name(n int) string { return strings.Repeat("n", n) }

// limit is the case of one limit; make gives a batch n of what is limited.
func limit(what string, most int, make func(b *storage.Batch, n int)) tested {
	return tested{what, func(b *bench) {
		k := b.book(1)
		k.grow(1)
		over := k.next(1)
		make(&over, most+1)
		b.refused(b.store.Append(b.ctx, over), storage.ErrInvalid)
		k.check()
		just := k.next(1)
		make(&just, most)
		k.append(just)
		k.check()
	}}
}

func limitsOfEntries() []tested {
	return []tested{
		limit("bytes of an entry", storage.MaxEntry, func(s *storage.Batch, n int) {
			bare := len(Entry(s.Expect.Ledger, 1, s.Source, ""))
			s.Entries[0].Bytes = Entry(s.Expect.Ledger, 1, s.Source, name(n-bare))
		}),
		limit("entries of a batch", storage.MaxEntries, func(s *storage.Batch, n int) {
			for i := uint64(2); i <= uint64(n); i++ {
				s.Entries = append(s.Entries, storage.Entry{Seq: i, Bytes: Entry(s.Expect.Ledger, i, "", "")})
			}
		}),
		limit("bytes of a source", storage.MaxSource, func(s *storage.Batch, n int) {
			s.Source = storage.Source(name(n))
			s.Entries[0].Bytes = Entry(s.Expect.Ledger, 1, s.Source, "")
		}),
	}
}

func limitsBeside() []tested {
	salt := make([]byte, 16)
	return []tested{
		limit("bytes of a post", storage.MaxPost, func(s *storage.Batch, n int) {
			s.Posts = []storage.Post{{Place: "here", Bytes: make([]byte, n)}}
		}),
		limit("posts of a batch", storage.MaxPosts, func(s *storage.Batch, n int) {
			for range n {
				s.Posts = append(s.Posts, storage.Post{Place: "here"})
			}
		}),
		limit("bytes of a post's place", storage.MaxName, func(s *storage.Batch, n int) {
			s.Posts = []storage.Post{{Place: name(n)}}
		}),
		limit("bytes of a word", storage.MaxWord, func(s *storage.Batch, n int) {
			s.Words = []storage.Word{{Seq: 1, Name: "tale", Salt: salt, Text: name(n)}}
		}),
		limit("bytes of a word's name", storage.MaxName, func(s *storage.Batch, n int) {
			s.Words = []storage.Word{{Seq: 1, Name: name(n), Salt: salt}}
		}),
		limit("words of a batch", storage.MaxParts, func(s *storage.Batch, n int) {
			for i := range n {
				s.Words = append(s.Words, storage.Word{Seq: 1, Name: fmt.Sprint(i), Salt: salt})
			}
		}),
		limit("bytes of a person", storage.MaxName, func(s *storage.Batch, n int) {
			s.Players = []storage.Player{{Pseudonym: "p1", Person: name(n)}}
		}),
		limit("bytes of a pseudonym", storage.MaxName, func(s *storage.Batch, n int) {
			s.Players = []storage.Player{{Pseudonym: name(n), Person: "ann"}}
		}),
		limit("players of a batch", storage.MaxParts, func(s *storage.Batch, n int) {
			for i := range n {
				s.Players = append(s.Players, storage.Player{Pseudonym: fmt.Sprintf("p%d", i), Person: "ann"})
			}
		}),
		limit("bytes of a timer", storage.MaxTimer, func(s *storage.Batch, n int) {
			s.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: "turn", Due: NewClock().Now()}, Bytes: make([]byte, n)}}
		}),
		limit("bytes of a timer's name", storage.MaxName, func(s *storage.Batch, n int) {
			s.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: name(n), Due: NewClock().Now()}}}
		}),
		limit("timers of a batch", storage.MaxParts, func(s *storage.Batch, n int) {
			for i := range n {
				s.Set = append(s.Set, storage.Timer{TimerRef: storage.TimerRef{Name: fmt.Sprint(i), Due: NewClock().Now()}})
			}
		}),
		limit("timers cancelled by a batch", storage.MaxParts, func(s *storage.Batch, n int) { s.Cancel = make([]string, n) }),
		limit("bytes of a secret", storage.MaxSecret, func(s *storage.Batch, n int) { s.Secret = make([]byte, n) }),
	}
}

// spoiled wants every change of a good batch to be refused.
func spoiled(b *bench, k *book, changes map[string]func(*storage.Batch)) {
	b.Helper()
	for name, spoil := range changes {
		batch := k.next(2)
		spoil(&batch)
		if err := b.store.Append(b.ctx, batch); !isInvalid(err) {
			b.Errorf("%s: got %v, want ErrInvalid", name, err)
		}
	}
	k.check()
}

func isInvalid(err error) bool { return kindOf(err) == "invalid" }

func shapes(b *bench) {
	k := b.book(1)
	k.grow(3)
	salt, due := make([]byte, 16), b.clock.Now()
	ref := storage.TimerRef{Name: "turn", Due: due}
	spoiled(b, k, map[string]func(*storage.Batch){
		"no entry":            func(s *storage.Batch) { s.Entries = nil },
		"an empty entry":      func(s *storage.Batch) { s.Entries[1].Bytes = nil },
		"a line end":          func(s *storage.Batch) { s.Entries[1].Bytes = []byte("{\n}") },
		"a hole":              func(s *storage.Batch) { s.Entries[1].Seq++ },
		"from another number": func(s *storage.Batch) { s.Entries[0].Seq, s.Entries[1].Seq = 1, 2 },
		"a number twice":      func(s *storage.Batch) { s.Entries[1].Seq-- },
		"source of no entry":  func(s *storage.Batch) { s.Source = "other" },
		"source not named":    func(s *storage.Batch) { s.Source = "" },
		"source twice":        func(s *storage.Batch) { s.Entries[1].Bytes = Entry(k.id, 4, s.Source, "") },
		"another source, too": func(s *storage.Batch) { s.Entries[1].Bytes = Entry(k.id, 4, "other", "") },
		"word of another entry": func(s *storage.Batch) {
			s.Words = []storage.Word{{Seq: 2, Name: "label", Salt: salt}}
		},
		"word without a name":   func(s *storage.Batch) { s.Words = []storage.Word{{Seq: 3, Salt: salt}} },
		"word with half a salt": func(s *storage.Batch) { s.Words = []storage.Word{{Seq: 3, Name: "label", Salt: salt[:8]}} },
		"word twice": func(s *storage.Batch) {
			w := storage.Word{Seq: 3, Name: "a", Salt: salt}
			s.Words = []storage.Word{w, w}
		},
		"player without a name":   func(s *storage.Batch) { s.Players = []storage.Player{{Person: "ann"}} },
		"player without a person": func(s *storage.Batch) { s.Players = []storage.Player{{Pseudonym: "p1"}} },
		"player twice": func(s *storage.Batch) {
			s.Players = []storage.Player{{Pseudonym: "p1", Person: "ann"}, {Pseudonym: "p1", Person: "bo"}}
		},
		"post without a place": func(s *storage.Batch) { s.Posts = []storage.Post{{}} },
		"place with byte 0":    func(s *storage.Batch) { s.Posts = []storage.Post{{Place: "a\x00b"}} },
		"timer without a name": func(s *storage.Batch) { s.Set = []storage.Timer{{TimerRef: storage.TimerRef{Due: due}}} },
		"timer twice":          func(s *storage.Batch) { s.Set = []storage.Timer{{TimerRef: ref}, {TimerRef: ref}} },
		"timer of no time":     func(s *storage.Batch) { s.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: "turn"}}} },
		"timer in a far year": func(s *storage.Batch) {
			s.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: "turn", Due: time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)}}}
		},
		"timer fired twice": func(s *storage.Batch) { s.Fired = []storage.TimerRef{ref, ref} },
	})
}

func firstShapes(b *bench) {
	spoiled(b, b.book(1), map[string]func(*storage.Batch){
		"no community":       func(s *storage.Batch) { s.Community = "" },
		"no ledger":          func(s *storage.Batch) { s.Expect.Ledger = storage.LedgerID{} },
		"no place":           func(s *storage.Batch) { s.Place = "" },
		"no salt":            func(s *storage.Batch) { s.Salt = nil },
		"a short salt":       func(s *storage.Batch) { s.Salt = s.Salt[:15] },
		"a long community":   func(s *storage.Batch) { s.Community = strings.Repeat("c", storage.MaxName+1) },
		"a long place":       func(s *storage.Batch) { s.Place = strings.Repeat("p", storage.MaxName+1) },
		"a place and byte 0": func(s *storage.Batch) { s.Place = "a\x00" },
	})
}
