package ledgers

import (
	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// writePosts keeps a batch's posts and puts them into the queue. A batch with a
// source and several entries gets a record without posts, too: a resend must
// be told its bounds.
func writePosts(d *draft, p *part, since uint64) error {
	if len(p.Posts) == 0 && (p.Source == "" || len(p.Entries) == 1) {
		return nil
	}
	posts := layout.Posts{Since: since, First: p.Expect.Size}
	var queued []layout.Queued
	for n, one := range p.Posts {
		posts.Each = append(posts.Each, layout.Post{Place: one.Place, Open: one.Open, Bytes: one.Bytes})
		queued = append(queued, layout.Queued{N: n, Place: one.Place})
		if one.Open {
			if err := offer(d, one.Place, storage.PostID{Ledger: p.ledger(), Seq: p.last(), N: n}); err != nil {
				return err
			}
		}
	}
	putPosts(d, p.ledger(), p.last(), posts)
	if len(queued) > 0 {
		key := layout.QueueKey(since, p.ledger(), p.last())
		d.Put(layout.Waiting, key, layout.EncodeQueued(key, queued))
	}
	return nil
}

func putPosts(d *draft, l storage.LedgerID, last uint64, posts layout.Posts) {
	key := layout.PostsKey(l, last)
	d.Put(layout.Ledgers, key, layout.EncodePosts(key, posts))
}

// getPosts gives the posts of the batch that ended at last, and whether there are any.
func getPosts(tx Tx, l storage.LedgerID, last uint64) (layout.Posts, bool, error) {
	key := layout.PostsKey(l, last)
	rec := tx.Get(layout.Ledgers, key)
	if rec == nil {
		return layout.Posts{}, false, nil
	}
	posts, err := layout.DecodePosts(key, rec)
	if err != nil {
		return posts, false, layout.Damage(l, last, "posts", err)
	}
	return posts, true, nil
}

// getPlace gives a place's record, the zero one for an unknown place.
func getPlace(tx Tx, place string) (layout.Place, error) {
	key := layout.PlaceKey(place)
	rec := tx.Get(layout.Places, key)
	if rec == nil {
		return layout.Place{}, nil
	}
	p, err := layout.DecodePlace(key, rec)
	if err != nil {
		return p, layout.Damage(storage.LedgerID{}, 0, "place "+place, err)
	}
	return p, nil
}

func putPlace(d *draft, place string, p layout.Place) {
	key := layout.PlaceKey(place)
	d.Put(layout.Places, key, layout.EncodePlace(key, p))
}

// settle makes a ledger the newest of its place.
func settle(d *draft, place string, l storage.LedgerID) error {
	p, err := getPlace(d, place)
	if err != nil {
		return err
	}
	p.Ledger = l
	putPlace(d, place, p)
	return nil
}

// offer makes a post the newest open one of its place.
func offer(d *draft, place string, id storage.PostID) error {
	p, err := getPlace(d, place)
	if err != nil {
		return err
	}
	p.Open = append([]storage.PostID{id}, p.Open...)
	p.Open = p.Open[:min(len(p.Open), layout.MaxOpen)]
	putPlace(d, place, p)
	return nil
}

// Mark ends a post's waiting in the tables. An unknown post, or one that was
// sent already, changes nothing.
func (k *Keeper) Mark(tx Tx, m Mark) error {
	posts, found, err := getPosts(tx, m.ID.Ledger, m.ID.Seq)
	if err != nil || !found || m.ID.N < 0 || m.ID.N >= len(posts.Each) || posts.Each[m.ID.N].Sent {
		return err
	}
	d := newDraft(tx)
	one := &posts.Each[m.ID.N]
	one.Sent, one.SentAt, one.Receipt = true, m.At, m.Receipt
	putPosts(d, m.ID.Ledger, m.ID.Seq, posts)
	requeue(d, m.ID.Ledger, m.ID.Seq, posts)
	if m.Receipt != "" {
		key := layout.ReceiptKey(one.Place, m.Receipt)
		d.Put(layout.Receipts, key, layout.EncodeReceipt(key, m.ID))
	}
	d.write()
	return nil
}

// requeue leaves in the queue what still waits of a batch; once nothing does,
// the batch waits for its text to be pruned.
func requeue(d *draft, l storage.LedgerID, last uint64, posts layout.Posts) {
	key := layout.QueueKey(posts.Since, l, last)
	if !posts.Unsent() {
		d.Delete(layout.Waiting, key)
		d.Put(layout.Sent, key, layout.EncodeSent(key))
		return
	}
	var queued []layout.Queued
	for n, one := range posts.Each {
		if !one.Sent {
			queued = append(queued, layout.Queued{N: n, Place: one.Place})
		}
	}
	d.Put(layout.Waiting, key, layout.EncodeQueued(key, queued))
}

// maxPruned is how many batches of posts lose their text in one transaction.
const maxPruned = 64

// Prune drops the text of sent posts that are older than storage.KeepPosts, of
// some batches at a time. It tells whether it changed anything. It stops at a
// damaged record: nobody waits for it, and Check names the damage.
func (k *Keeper) Prune(tx Tx) bool {
	d := newDraft(tx)
	n := 0
	for key := range tx.Ascend(layout.Sent, nil) {
		since, l, last, ok := layout.ParseQueueKey(key)
		if !ok || !k.expired(since) || n == maxPruned {
			break
		}
		n++
		posts, found, err := getPosts(tx, l, last)
		if err != nil {
			break
		}
		d.Delete(layout.Sent, append([]byte{}, key...))
		if found {
			for i := range posts.Each {
				posts.Each[i].Pruned, posts.Each[i].Bytes = true, nil
			}
			putPosts(d, l, last, posts)
		}
	}
	d.write()
	return len(d.changes) > 0
}
