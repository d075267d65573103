package ledgers

import (
	"bytes"
	"context"
	"iter"
	"math"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Check looks at every record and yields what is wrong, one error a fault,
// nearly always a *storage.Damaged: entries against the root of their ledger,
// fingerprints against entries, every other record by its check sum, and that
// timers and waiting posts are there where they are expected. Secrets are
// opened. It holds no long read.
func (r *Reader) Check(ctx context.Context) iter.Seq[error] {
	return func(yield func(error) bool) {
		stopped := false
		report := func(err error) bool {
			if err != nil && !stopped {
				stopped = !yield(err)
			}
			return !stopped
		}
		var previous storage.LedgerID
		first := true
		r.eachRow(ctx, layout.Ledgers, report, func(tx Tx, key, rec []byte) error {
			l, _, _, ok := layout.LedgerOf(key)
			if !ok {
				return layout.Damage(l, 0, "a ledger", errKey)
			}
			if first || l != previous {
				first, previous = false, l
				if err := checkHead(tx, l); err != nil {
					return err
				}
			}
			return r.checkRow(tx, key, rec)
		})
		for _, t := range layout.Tables()[1:] {
			r.eachRow(ctx, t, report, func(tx Tx, key, rec []byte) error { return checkOther(tx, t, key, rec) })
		}
		if !stopped {
			r.checkEntries(ctx, report)
		}
	}
}

// rowsAtOnce is how many rows one transaction of Check reads.
const rowsAtOnce = 1024

// eachRow looks at every row of a table; report says whether to go on.
func (r *Reader) eachRow(ctx context.Context, t layout.Table, report func(error) bool, look func(tx Tx, key, rec []byte) error) {
	var from []byte
	for more := true; more; {
		var faults []error
		err := r.view(ctx, func(tx Tx) error {
			n := 0
			more = false
			for key, rec := range tx.Ascend(t, from) {
				if n++; n > rowsAtOnce {
					from, more = bytes.Clone(key), true
					break
				}
				if err := look(tx, key, rec); err != nil {
					faults = append(faults, err)
				}
			}
			return nil
		})
		for _, fault := range append(faults, err) {
			if !report(fault) {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// checkRow tests one row of the table of ledgers.
func (r *Reader) checkRow(tx Tx, key, rec []byte) error {
	l, kind, rest, _ := layout.LedgerOf(key)
	seq, _, numbered := layout.SeqOf(rest)
	var err error
	what := ""
	switch kind {
	case layout.KindHead, layout.KindTail, layout.KindPage: // the entries are checked as a whole
		return nil
	case layout.KindSecret:
		what, seq = "secret", 0
		_, err = r.vault.Open(key, rec)
	case layout.KindPosts:
		what = "posts"
		err = checkPostsRow(tx, l, seq, key, rec)
	case layout.KindWord:
		what = "word"
		_, _, err = layout.DecodeWord(key, rec)
	case layout.KindPlayer:
		what, seq, numbered = "player", 0, true
		_, err = layout.DecodePlayer(key, rec)
	case layout.KindTimer:
		what, seq, numbered = "timer "+string(rest), 0, true
		err = checkTimerRow(tx, l, string(rest), key, rec)
	default:
		what, err = "a record of kind "+string(kind), errKey
	}
	if err == nil && !numbered && kind != layout.KindSecret {
		err = errKey
	}
	if err != nil {
		return layout.Damage(l, seq, what, err)
	}
	return nil
}

// checkHead tests a ledger's head and that its place is known.
func checkHead(tx Tx, l storage.LedgerID) error {
	h, err := readHead(tx, l)
	if err == nil && h.Size == 0 {
		err = layout.Damage(l, 0, "head", errMissing)
	}
	if err == nil && tx.Get(layout.Places, layout.PlaceKey(h.About.Place)) == nil {
		err = layout.Damage(l, 0, "place "+h.About.Place, errMissing)
	}
	return err
}

// checkPostsRow tests posts: that they stand in the queue where they belong,
// that their receipts lead to a post, and that open ones have a place.
func checkPostsRow(tx Tx, l storage.LedgerID, last uint64, key, rec []byte) error {
	posts, err := layout.DecodePosts(key, rec)
	if err != nil {
		return err
	}
	text := false
	for _, one := range posts.Each {
		text = text || !one.Pruned
		if one.Receipt != "" && tx.Get(layout.Receipts, layout.ReceiptKey(one.Place, one.Receipt)) == nil {
			return errPair
		}
		if one.Open && tx.Get(layout.Places, layout.PlaceKey(one.Place)) == nil {
			return errPair
		}
	}
	queue := layout.Sent
	if posts.Unsent() {
		queue = layout.Waiting
	}
	if text && tx.Get(queue, layout.QueueKey(posts.Since, l, last)) == nil {
		return errPair
	}
	return nil
}

func checkTimerRow(tx Tx, l storage.LedgerID, name string, key, rec []byte) error {
	due, err := layout.DecodeDue(key, rec)
	if err == nil && tx.Get(layout.Timers, layout.DueKey(due, l, name)) == nil {
		err = errPair
	}
	return err
}

// checkOther tests one row of another table.
func checkOther(tx Tx, t layout.Table, key, rec []byte) (err error) {
	var l storage.LedgerID
	var seq uint64
	what := ""
	switch t {
	case layout.Places:
		what = "place " + string(key)
		var p layout.Place
		if p, err = layout.DecodePlace(key, rec); err == nil && p.Ledger != l && tx.Get(layout.Ledgers, layout.HeadKey(p.Ledger)) == nil {
			err = errPair
		}
	case layout.Timers:
		l, what, err = checkMessage(tx, key, rec)
	case layout.Waiting, layout.Sent:
		what = "queue of posts"
		l, seq, err = checkQueued(tx, t, key, rec)
	case layout.Receipts:
		what = "receipt"
		_, err = layout.DecodeReceipt(key, rec)
	case layout.Shelves:
		shelf, name, _ := layout.ParseShelfKey(key)
		what = "key " + name + " of shelf " + shelf
		_, err = layout.DecodeValue(key, rec)
	case layout.Meta:
		what = "the store's " + string(key)
		_, err = layout.DecodeMeta(key, rec)
	}
	if err != nil {
		return layout.Damage(l, seq, what, err)
	}
	return nil
}

// checkMessage tests a timer and that its ledger knows it.
func checkMessage(tx Tx, key, rec []byte) (l storage.LedgerID, what string, err error) {
	due, l, name, ok := layout.ParseDueKey(key)
	if !ok {
		return l, "timer", errKey
	}
	what = "timer " + name
	if _, err := layout.DecodeTimer(key, rec); err != nil {
		return l, what, err
	}
	known, found, err := dueOf(tx, l, name)
	if err == nil && (!found || known != due) {
		err = errPair
	}
	return l, what, err
}

// checkQueued tests a row of a queue against the posts that it stands for.
func checkQueued(tx Tx, t layout.Table, key, rec []byte) (l storage.LedgerID, seq uint64, err error) {
	_, l, seq, ok := layout.ParseQueueKey(key)
	if !ok {
		return l, seq, errKey
	}
	if t == layout.Sent {
		err = layout.DecodeSent(key, rec)
	} else {
		_, err = layout.DecodeQueued(key, rec)
	}
	if err != nil {
		return l, seq, err
	}
	posts, found, err := getPosts(tx, l, seq)
	if err == nil && (!found || posts.Unsent() != (t == layout.Waiting)) {
		err = errPair
	}
	return l, seq, err
}

// checkEntries reads every ledger against its root. Faults of heads were
// reported before; such a ledger is passed over.
func (r *Reader) checkEntries(ctx context.Context, report func(error) bool) {
	for from, more := []byte(nil), true; more; {
		var l storage.LedgerID
		err := r.view(ctx, func(tx Tx) error {
			l, _, _, more = layout.LedgerOf(firstKey(tx, layout.Ledgers, from))
			return nil
		})
		if !report(err) || err != nil || !more || !r.checkLedger(ctx, l, report) {
			return
		}
		from = after(l)
		more = from != nil
	}
}

// checkLedger reads one ledger, fingerprints too.
func (r *Reader) checkLedger(ctx context.Context, l storage.LedgerID, report func(error) bool) bool {
	if _, err := r.Head(ctx, l); err != nil {
		return true
	}
	w := walk{r: r, l: l, to: math.MaxUint64, whole: true, prints: true}
	goOn := true
	w.run(ctx, func(_ storage.Entry, err error) bool {
		goOn = report(err)
		return goOn
	})
	return goOn
}
