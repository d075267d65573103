package ledgers

import (
	"bytes"
	"cmp"
	"context"
	"iter"
	"slices"
	"time"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Reader is the reading half of a storage.Store. A backend embeds it.
type Reader struct {
	*Keeper
	View  func(func(Tx) error) error // runs one transaction for reading
	Marks *Marks                     // what is sent but not written yet
}

// view runs f unless ctx has ended.
func (r *Reader) view(ctx context.Context, f func(Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return r.View(f)
}

func publicHead(l storage.LedgerID, h layout.Head) storage.Head {
	return storage.Head{Ledger: l, Size: h.Size, Root: h.Root, Last: h.Last}
}

// Head returns the newest durable head; for an unknown ledger the empty one.
func (r *Reader) Head(ctx context.Context, l storage.LedgerID) (head storage.Head, err error) {
	err = r.view(ctx, func(tx Tx) error {
		h, err := readHead(tx, l)
		head = publicHead(l, h)
		return err
	})
	return head, err
}

// About returns what is fixed with a ledger, or ErrNone.
func (r *Reader) About(ctx context.Context, l storage.LedgerID) (about storage.About, err error) {
	err = r.view(ctx, func(tx Tx) error {
		h, err := readHead(tx, l)
		if err == nil && h.Size == 0 {
			err = storage.ErrNone
		}
		about = h.About
		return err
	})
	return about, err
}

// Seen tells whether a source was appended before: nil if not, else *storage.Seen.
func (r *Reader) Seen(ctx context.Context, l storage.LedgerID, s storage.Source) error {
	return r.view(ctx, func(tx Tx) error {
		h, err := readHead(tx, l)
		if err != nil {
			return err
		}
		return r.seen(tx, l, h, s)
	})
}

// Players returns a ledger's pseudonyms, in the order in which they came.
func (r *Reader) Players(ctx context.Context, l storage.LedgerID) (players []storage.Player, err error) {
	type came struct {
		storage.Player
		seq uint64
		n   int
	}
	var all []came
	err = r.view(ctx, func(tx Tx) (err error) {
		prefix := layout.OfKind(l, layout.KindPlayer)
		under(tx, layout.Ledgers, prefix, func(key, rec []byte) bool {
			name := string(key[len(prefix):])
			p, bad := layout.DecodePlayer(key, rec)
			if bad != nil {
				err = layout.Damage(l, 0, "player "+name, bad)
				return false
			}
			all = append(all, came{storage.Player{Pseudonym: name, Person: p.Person}, p.Seq, p.N})
			return true
		})
		return err
	})
	slices.SortFunc(all, func(a, b came) int { return cmp.Or(cmp.Compare(a.seq, b.seq), cmp.Compare(a.n, b.n)) })
	for _, c := range all {
		players = append(players, c.Player)
	}
	return players, err
}

// Words returns the words behind an entry, in order of name.
func (r *Reader) Words(ctx context.Context, l storage.LedgerID, seq uint64) (words []storage.Word, err error) {
	if seq > maxSeq {
		return nil, nil
	}
	err = r.view(ctx, func(tx Tx) (err error) {
		prefix := layout.WordKey(l, seq, "")
		under(tx, layout.Ledgers, prefix, func(key, rec []byte) bool {
			name := string(key[len(prefix):])
			salt, text, bad := layout.DecodeWord(key, rec)
			if bad != nil {
				err = layout.Damage(l, seq, "word "+name, bad)
				return false
			}
			words = append(words, storage.Word{Seq: seq, Name: name, Salt: salt, Text: text})
			return true
		})
		return err
	})
	return words, err
}

// Secret returns a ledger's secret in clear, or ErrNone.
func (r *Reader) Secret(ctx context.Context, l storage.LedgerID) (secret []byte, err error) {
	err = r.view(ctx, func(tx Tx) error {
		key := layout.SecretKey(l)
		rec := tx.Get(layout.Ledgers, key)
		if rec == nil {
			return storage.ErrNone
		}
		var bad error
		if secret, bad = r.vault.Open(key, rec); bad != nil {
			return layout.Damage(l, 0, "secret", bad)
		}
		return nil
	})
	return secret, err
}

// Of returns the newest ledger of a place, or ErrNone.
func (r *Reader) Of(ctx context.Context, place string) (l storage.LedgerID, err error) {
	err = r.view(ctx, func(tx Tx) error {
		p, err := getPlace(tx, place)
		if err == nil && p.Ledger == (storage.LedgerID{}) {
			err = storage.ErrNone
		}
		l = p.Ledger
		return err
	})
	return l, err
}

// Open returns the open posts of a place, newest first, at most 32.
func (r *Reader) Open(ctx context.Context, place string) (ids []storage.PostID, err error) {
	err = r.view(ctx, func(tx Tx) error {
		p, err := getPlace(tx, place)
		ids = p.Open
		return err
	})
	return ids, err
}

// Due returns at most max timers due at now, the earliest first, and when the
// next one after them is due (zero: none).
func (r *Reader) Due(ctx context.Context, now time.Time, max int) (due []storage.Timer, next time.Time, err error) {
	err = r.view(ctx, func(tx Tx) error {
		for key, rec := range tx.Ascend(layout.Timers, nil) {
			at, l, name, ok := layout.ParseDueKey(key)
			if !ok {
				return layout.Damage(l, 0, "a timer", errKey)
			}
			if int64(at) > layout.Millis(now) || len(due) >= max {
				next = layout.TimeOfMillis(at)
				return nil
			}
			message, err := layout.DecodeTimer(key, rec)
			if err != nil {
				return layout.Damage(l, 0, "timer "+name, err)
			}
			ref := storage.TimerRef{Name: name, Due: layout.TimeOfMillis(at)}
			due = append(due, storage.Timer{TimerRef: ref, Ledger: l, Bytes: message})
		}
		return nil
	})
	return due, next, err
}

// headsAtOnce is how many heads one transaction reads.
const headsAtOnce = 256

// Ledgers yields every head, in order of id.
func (r *Reader) Ledgers(ctx context.Context) iter.Seq2[storage.Head, error] {
	return func(yield func(storage.Head, error) bool) {
		var from []byte
		for {
			var heads []storage.Head
			err := r.view(ctx, func(tx Tx) (err error) {
				heads, from, err = headsFrom(tx, from)
				return err
			})
			for _, h := range heads {
				if !yield(h, nil) {
					return
				}
			}
			if err != nil {
				yield(storage.Head{}, err)
				return
			}
			if from == nil {
				return
			}
		}
	}
}

// headsFrom reads the next heads, and gives where to go on (nil: at the end).
func headsFrom(tx Tx, from []byte) (heads []storage.Head, next []byte, err error) {
	for len(heads) < headsAtOnce {
		key := firstKey(tx, layout.Ledgers, from)
		if key == nil {
			return heads, nil, nil
		}
		l, _, _, ok := layout.LedgerOf(key)
		if !ok {
			return heads, nil, layout.Damage(l, 0, "a ledger", errKey)
		}
		h, err := readHead(tx, l)
		if err != nil {
			return heads, nil, err
		}
		if h.Size == 0 {
			return heads, nil, layout.Damage(l, 0, "head", errMissing)
		}
		heads = append(heads, publicHead(l, h))
		if from = after(l); from == nil {
			return heads, nil, nil
		}
	}
	return heads, from, nil
}

// firstKey gives the first key from that one on.
func firstKey(tx Tx, t layout.Table, from []byte) []byte {
	for key := range tx.Ascend(t, from) {
		return key
	}
	return nil
}

// after gives the id that follows a ledger's, nil for the last id of all.
func after(l storage.LedgerID) []byte {
	for i := len(l) - 1; i >= 0; i-- {
		if l[i]++; l[i] != 0 {
			return bytes.Clone(l[:])
		}
	}
	return nil
}
