// Package storage keeps ledgers: append-only lists of entries, with what lies
// beside them (words, pseudonyms, posts still to be sent, timers, secrets).
// It holds the codec of an entry, the hashes over entries, signed checkpoints,
// and the interface that every backend implements. It knows no game.
package storage

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"
)

// Limits of a batch. Each is checked by every backend and named in the error.
const (
	MaxEntry   = 65_535    // bytes of one entry
	MaxEntries = 64        // entries of one batch
	MaxPost    = 64 << 10  // bytes of one post
	MaxPosts   = 16        // posts of one batch
	MaxSource  = 255       // bytes of a source
	MaxBatches = 4         // ledgers of one append
	MaxValue   = 1<<20 - 1 // bytes of one value on a shelf
	MaxTimer   = 4 << 10   // bytes of one timer's message
	MaxSecret  = 4 << 10   // bytes of one ledger's secret
	MaxWord    = 64 << 10  // bytes of one word's text
	MaxName    = 512       // bytes of a name: place, community, person, receipt, word, timer, shelf, key; never byte 0
	MaxParts   = 1024      // words, players, timers set, cancelled or fired, each, of one batch
	KeepPosts  = 7 * 24 * time.Hour
)

// Entry is one frozen entry. Bytes are RFC 8785 JSON, 1 to MaxEntry long, and
// are returned exactly as they were given.
type Entry struct {
	Seq   uint64
	Bytes []byte
}

// Head says where a ledger stands. An empty or unknown ledger has Size 0 and
// the Root of the empty tree, SHA-256 of nothing.
type Head struct {
	Ledger LedgerID
	Size   uint64
	Root   Hash
	Last   Hash // leaf hash of the newest entry, the `head` of the next; zeros when empty
}

// Source identifies the message that caused an entry. The store only compares it.
type Source string

// PostID identifies a stored post: the N-th of the batch that ended at Seq.
type PostID struct {
	Ledger LedgerID
	Seq    uint64
	N      int
}

// Post is something to be said. Once older than KeepPosts and sent, its Bytes
// may be gone.
type Post struct {
	ID      PostID
	Place   string
	Waiting time.Time // since when; zero once sent
	Bytes   []byte
	Open    bool // has choices that can still be picked
}

// TimerRef names a timer and when it is due (UTC, whole milliseconds).
type TimerRef struct {
	Name string
	Due  time.Time
}

// Timer is a message that the desk gets later.
type Timer struct {
	TimerRef
	Ledger LedgerID
	Bytes  []byte
}

// Word is what a `said` of entry Seq stands for: the 16 bytes of salt and the text.
type Word struct {
	Seq  uint64
	Name string
	Salt []byte
	Text string
}

// Player is who stands behind a pseudonym of a ledger.
type Player struct {
	Pseudonym string
	Person    string
}

// About is what is fixed with a ledger's first entry.
type About struct {
	Community string
	Place     string
	Salt      []byte // 16 bytes: the private salt of source ids
}

// KeyValue is one pair of a shelf. A nil Value deletes.
type KeyValue struct {
	Key   string
	Value []byte
}

// Shelf is a named table of small values outside any ledger.
type Shelf interface {
	// Get returns the value, or ErrNone for an unknown key.
	Get(ctx context.Context, key string) ([]byte, error)
	// Put stores all pairs or none; durable on return.
	Put(ctx context.Context, pairs ...KeyValue) error
	// Each yields the pairs whose key begins with prefix, in order of key.
	Each(ctx context.Context, prefix string) iter.Seq2[KeyValue, error]
}

// Batch is everything that one command changes in one ledger.
type Batch struct {
	Expect    Head       // guard: size and last leaf hash must be the stored ones
	Community string     // with the first entry, then fixed
	Place     string     // with the first entry, then fixed
	Salt      []byte     // 16 bytes with the first entry, then fixed
	Source    Source     // the `source` member of one of the entries; "" for what no message asked for
	Entries   []Entry    // 1..MaxEntries, Seq going on from Expect.Size
	Words     []Word     // what a `said` of these entries stands for
	Players   []Player   // new pseudonyms
	Posts     []Post     // 0..MaxPosts; Place, Bytes and Open are read, ids follow from ledger, last seq and position
	Set       []Timer    // created or moved; the name is unique in the ledger
	Cancel    []string   // unknown names are ignored
	Fired     []TimerRef // timers that this batch answers; must be waiting exactly so, else ErrFired
	Secret    []byte     // nil keeps the ledger's secret, empty deletes it
}

// Errors of a Store. Unless said otherwise nothing was stored.
var (
	ErrConflict = errors.New("storage: the head moved, read and decide again")
	ErrFired    = errors.New("storage: that timer was fired, moved or cancelled by another")
	ErrInvalid  = errors.New("storage: the batch breaks a limit")
	ErrFull     = errors.New("storage: no room; reading goes on, appending may be tried again")
	ErrReadOnly = errors.New("storage: opened for reading only")
	ErrClosed   = errors.New("storage: closed")
	ErrNotOwner = errors.New("storage: the lease was lost")
	ErrFormat   = errors.New("storage: made by a newer version of this program")
	ErrNone     = errors.New("storage: there is none")
	// ErrUnknown: the store cannot tell whether the batch is stored, and takes
	// no more appends. Open again and append the same batch: the answer is nil
	// or *Seen. Nothing may be said about it before.
	ErrUnknown = errors.New("storage: outcome unknown, open the store again")
)

// Seen is the error for a source that was appended before: the entries First
// to Last, and the ids of the posts of that batch.
type Seen struct {
	First, Last uint64
	Posts       []PostID
}

func (s *Seen) Error() string {
	return fmt.Sprintf("storage: this source was appended before, as entries %d to %d", s.First, s.Last)
}

// Damaged is the error for bytes that are not what was stored.
type Damaged struct {
	Ledger LedgerID
	Seq    uint64
	What   string // which record, and how it was noticed
}

func (d *Damaged) Error() string {
	return fmt.Sprintf("storage: damaged at entry %d of ledger %s: %s", d.Seq, d.Ledger, d.What)
}

// Store keeps ledgers. All methods may be called by many goroutines. Errors
// wrap one of the errors above.
type Store interface {
	// Head returns the newest durable head; for an unknown ledger the empty one.
	Head(ctx context.Context, l LedgerID) (Head, error)
	// Read yields the entries from ≤ seq < to in order, all of one moment (to
	// beyond the end stops there). Bytes are valid until the next step. It holds
	// no lock or long read against writers: at most 4,096 entries are read at a time.
	Read(ctx context.Context, l LedgerID, from, to uint64) iter.Seq2[Entry, error]
	// Ledgers yields every head, in order of id.
	Ledgers(ctx context.Context) iter.Seq2[Head, error]
	// Append stores all batches or none: 1 to MaxBatches ledgers of one
	// community, each once. nil means durable. Sources are tested before heads,
	// so a resend gets *Seen and not ErrConflict. ctx counts until the store has
	// taken the batch up; after that Append waits for the outcome.
	Append(ctx context.Context, b ...Batch) error
	// Seen tells whether a source was appended before: nil if not, else *Seen.
	Seen(ctx context.Context, l LedgerID, s Source) error
	// About returns what is fixed with a ledger, or ErrNone.
	About(ctx context.Context, l LedgerID) (About, error)
	// Players returns a ledger's pseudonyms, in the order in which they came.
	Players(ctx context.Context, l LedgerID) ([]Player, error)
	// Due returns at most max timers due at now, the earliest first (ties by
	// ledger, then name), and when the next one after them is due (zero: none).
	// They stay until a batch fires them.
	Due(ctx context.Context, now time.Time, max int) ([]Timer, time.Time, error)
	// Outbox returns at most max waiting posts: of one place in the order
	// appended, over places the longest waiting first.
	Outbox(ctx context.Context, max int) ([]Post, error)
	// MarkSent ends a post's waiting and keeps the receipt. It may be forgotten
	// by a crash within 50 ms: the post is then offered again with the same id.
	// Marking twice, or an unknown id, is nil.
	MarkSent(ctx context.Context, id PostID, ref string) error
	// Post finds a post by its id, with its receipt ("" while it waits), or ErrNone.
	Post(ctx context.Context, id PostID) (Post, string, error)
	// PostOf finds a post by a place and the receipt that MarkSent kept, or ErrNone.
	PostOf(ctx context.Context, place, ref string) (PostID, error)
	// Open returns the posts of a place that were stored with Open, newest first, at most 32.
	Open(ctx context.Context, place string) ([]PostID, error)
	// Of returns the ledger of a place, or ErrNone. A place whose ledger ended
	// and that got a new one has the newest.
	Of(ctx context.Context, place string) (LedgerID, error)
	// Words returns the words behind an entry, in order of name.
	Words(ctx context.Context, l LedgerID, seq uint64) ([]Word, error)
	// Secret returns a ledger's secret in clear, or ErrNone.
	Secret(ctx context.Context, l LedgerID) ([]byte, error)
	// Shelf is a named table of small values outside any ledger.
	Shelf(name string) Shelf
	// Wake gets a value when posts or timers may have changed. One receiver;
	// sends never block.
	Wake() <-chan struct{}
	// Close waits for what was taken up; later calls give ErrClosed. Twice is nil.
	Close() error
}
