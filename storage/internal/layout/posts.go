package layout

import (
	"time"

	"drumhead/storage"
)

// Posts are the posts of one batch. The record is also kept for a batch of
// several entries without posts, so that a resend can be told its bounds.
type Posts struct {
	Since uint64 // when it was stored, microseconds since 1970
	First uint64 // first entry of the batch
	Each  []Post
}

// Post is one of them.
type Post struct {
	Place   string
	Open    bool
	Sent    bool
	SentAt  uint64 // milliseconds since 1970
	Receipt string
	Pruned  bool // the text is gone
	Bytes   []byte
}

const (
	postOpen = 1 << iota
	postSent
	postPruned
)

// Unsent tells whether any of the posts still waits.
func (p Posts) Unsent() bool {
	for _, one := range p.Each {
		if !one.Sent {
			return true
		}
	}
	return false
}

// Waiting is since when the posts wait.
func (p Posts) Waiting() time.Time { return TimeOfMicros(p.Since) }

func (p Post) flags() (f byte) {
	if p.Open {
		f |= postOpen
	}
	if p.Sent {
		f |= postSent
	}
	if p.Pruned {
		f |= postPruned
	}
	return f
}

// EncodePosts gives the record of a batch's posts.
func EncodePosts(key []byte, p Posts) []byte {
	size := 16
	for _, one := range p.Each {
		size += 32 + len(one.Place) + len(one.Receipt) + len(one.Bytes)
	}
	w := record(size)
	w.u64(p.Since)
	w.u32(uint32(p.First))
	w.u8(byte(len(p.Each)))
	for _, one := range p.Each {
		w.u8(one.flags())
		w.name(one.Place)
		if one.Sent {
			w.u64(one.SentAt)
			w.name(one.Receipt)
		}
		if !one.Pruned {
			w.text(one.Bytes)
		}
	}
	return w.closed(Ledgers, key)
}

// DecodePosts reads them back.
func DecodePosts(key, rec []byte) (Posts, error) {
	_, r, err := opened(Ledgers, key, rec, Format)
	if err != nil {
		return Posts{}, err
	}
	p := Posts{Since: r.u64(), First: uint64(r.u32())}
	for range r.u8() {
		flags := r.u8()
		one := Post{Place: r.name(), Open: flags&postOpen != 0, Sent: flags&postSent != 0, Pruned: flags&postPruned != 0}
		if one.Sent {
			one.SentAt, one.Receipt = r.u64(), r.name()
		}
		if !one.Pruned {
			one.Bytes = r.text()
		}
		p.Each = append(p.Each, one)
	}
	return p, r.end()
}

// Queued is one waiting post of a batch, as the queue knows it.
type Queued struct {
	N     int
	Place string
}

// EncodeQueued gives the record of a batch in the table Waiting.
func EncodeQueued(key []byte, posts []Queued) []byte {
	w := record(8 + 32*len(posts))
	w.u8(byte(len(posts)))
	for _, q := range posts {
		w.u8(byte(q.N))
		w.name(q.Place)
	}
	return w.closed(Waiting, key)
}

// DecodeQueued reads it back.
func DecodeQueued(key, rec []byte) ([]Queued, error) {
	_, r, err := opened(Waiting, key, rec, Format)
	if err != nil {
		return nil, err
	}
	posts := make([]Queued, r.u8())
	for i := range posts {
		posts[i] = Queued{N: int(r.u8()), Place: r.name()}
	}
	return posts, r.end()
}

// EncodeSent gives the record of a batch in the table Sent: only its key says something.
func EncodeSent(key []byte) []byte { return record(0).closed(Sent, key) }

// DecodeSent checks such a record.
func DecodeSent(key, rec []byte) error {
	_, r, err := opened(Sent, key, rec, Format)
	if err != nil {
		return err
	}
	return r.end()
}

func (w *writer) post(id storage.PostID) {
	w.raw(id.Ledger[:])
	w.u32(uint32(id.Seq))
	w.u8(byte(id.N))
}

func (r *reader) post() storage.PostID {
	return storage.PostID{Ledger: r.ledger(), Seq: uint64(r.u32()), N: int(r.u8())}
}

// EncodeReceipt gives the record that leads from a receipt to its post.
func EncodeReceipt(key []byte, id storage.PostID) []byte {
	w := record(24)
	w.post(id)
	return w.closed(Receipts, key)
}

// DecodeReceipt reads it back.
func DecodeReceipt(key, rec []byte) (storage.PostID, error) {
	_, r, err := opened(Receipts, key, rec, Format)
	if err != nil {
		return storage.PostID{}, err
	}
	id := r.post()
	return id, r.end()
}
