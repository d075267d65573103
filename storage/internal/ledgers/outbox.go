package ledgers

import (
	"context"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Outbox returns at most max waiting posts: of one place in the order appended,
// over places the longest waiting first, and one of each place before the
// second of any, so that a place that cannot be reached holds up no other.
func (r *Reader) Outbox(ctx context.Context, max int) (posts []storage.Post, err error) {
	marked := r.Marks.all()
	err = r.view(ctx, func(tx Tx) error {
		ids, err := fairly(tx, marked, max)
		if err != nil {
			return err
		}
		for _, id := range ids {
			batch, found, err := getPosts(tx, id.Ledger, id.Seq)
			if err != nil {
				return err
			}
			if !found || id.N >= len(batch.Each) {
				return layout.Damage(id.Ledger, id.Seq, "posts", errMissing)
			}
			posts = append(posts, r.publicPost(id, batch))
		}
		return nil
	})
	return posts, err
}

// fairly picks the posts of Outbox. The queue is read until as many places are
// found as posts are wanted, or to its end.
func fairly(tx Tx, marked map[storage.PostID]Mark, max int) ([]storage.PostID, error) {
	var places []string
	of := map[string][]storage.PostID{}
	for key, rec := range tx.Ascend(layout.Waiting, nil) {
		if len(places) >= max {
			break
		}
		_, l, last, ok := layout.ParseQueueKey(key)
		queued, err := layout.DecodeQueued(key, rec)
		if err == nil && !ok {
			err = errKey
		}
		if err != nil {
			return nil, layout.Damage(l, last, "waiting posts", err)
		}
		for _, q := range queued {
			id := storage.PostID{Ledger: l, Seq: last, N: q.N}
			if _, sent := marked[id]; sent || len(of[q.Place]) >= max {
				continue
			}
			if of[q.Place] == nil {
				places = append(places, q.Place)
			}
			of[q.Place] = append(of[q.Place], id)
		}
	}
	return inTurn(places, of, max), nil
}

// inTurn takes the first of every place, then the second, …
func inTurn(places []string, of map[string][]storage.PostID, max int) (ids []storage.PostID) {
	for turn, more := 0, true; more; turn++ {
		more = false
		for _, place := range places {
			if len(ids) >= max {
				return ids
			}
			if turn < len(of[place]) {
				ids = append(ids, of[place][turn])
				more = true
			}
		}
	}
	return ids
}

// publicPost is a post as the store's users know it.
func (r *Reader) publicPost(id storage.PostID, batch layout.Posts) storage.Post {
	one := batch.Each[id.N]
	post := storage.Post{ID: id, Place: one.Place, Open: one.Open, Bytes: one.Bytes}
	if !one.Sent {
		post.Waiting = batch.Waiting()
	} else if r.expired(batch.Since) {
		post.Bytes = nil
	}
	return post
}

// Post finds a post by its id, with its receipt ("" while it waits), or ErrNone.
func (r *Reader) Post(ctx context.Context, id storage.PostID) (post storage.Post, receipt string, err error) {
	mark, marked := r.Marks.find(id)
	err = r.view(ctx, func(tx Tx) error {
		batch, err := r.batchWith(tx, id)
		if err != nil {
			return err
		}
		if one := &batch.Each[id.N]; marked && !one.Sent {
			one.Sent, one.Receipt = true, mark.Receipt
		}
		post, receipt = r.publicPost(id, batch), batch.Each[id.N].Receipt
		return nil
	})
	return post, receipt, err
}

// batchWith gives the batch of posts that holds one, or ErrNone.
func (r *Reader) batchWith(tx Tx, id storage.PostID) (layout.Posts, error) {
	if id.Seq > maxSeq {
		return layout.Posts{}, storage.ErrNone
	}
	batch, found, err := getPosts(tx, id.Ledger, id.Seq)
	if err == nil && (!found || id.N < 0 || id.N >= len(batch.Each)) {
		err = storage.ErrNone
	}
	return batch, err
}

// PostOf finds a post by a place and the receipt that MarkSent kept, or
// ErrNone; of several posts with one receipt (an edit has its post's) the one
// that was marked last.
func (r *Reader) PostOf(ctx context.Context, place, receipt string) (id storage.PostID, err error) {
	marked, found := r.Marks.named(place, receipt)
	err = r.view(ctx, func(tx Tx) error {
		if found {
			id = marked
			return nil
		}
		key := layout.ReceiptKey(place, receipt)
		rec := tx.Get(layout.Receipts, key)
		if rec == nil {
			return storage.ErrNone
		}
		var bad error
		if id, bad = layout.DecodeReceipt(key, rec); bad != nil {
			return layout.Damage(id.Ledger, id.Seq, "receipt "+receipt, bad)
		}
		return nil
	})
	return id, err
}

// NewMark gives the mark for a post, and whether there is anything to mark: an
// unknown or sent post has nothing.
func (r *Reader) NewMark(ctx context.Context, id storage.PostID, receipt string) (mark Mark, wanted bool, err error) {
	if err := checkOptional("the receipt of a post", receipt); err != nil {
		return mark, false, err
	}
	err = r.view(ctx, func(tx Tx) error {
		batch, err := r.batchWith(tx, id)
		if err == storage.ErrNone {
			return nil
		}
		if err != nil {
			return err
		}
		one := batch.Each[id.N]
		wanted = !one.Sent
		mark = Mark{ID: id, Place: one.Place, Receipt: receipt, At: uint64(max(layout.Millis(r.now()), 0))}
		return nil
	})
	return mark, wanted, err
}
