package layout

import (
	"encoding/binary"
	"strings"
	"time"

	"drumhead/storage"
)

// Kind is what a record of the table Ledgers is.
type Kind byte

// The kinds, in the order in which they lie behind a ledger's id. What every
// append writes, the newest posts, the head and the newest entry, are
// neighbours: they lie on one page of the database, seldom on two.
const (
	KindPosts  Kind = 'g' // given out
	KindHead   Kind = 'h'
	KindTail   Kind = 'i' // items that no page has yet
	KindSecret Kind = 'k'
	KindPage   Kind = 'p'
	KindWord   Kind = 's'
	KindPlayer Kind = 'u'
	KindTimer  Kind = 'w'
)

const idLen = len(storage.LedgerID{})

// OfKind begins the keys of all records of one kind in a ledger.
func OfKind(l storage.LedgerID, k Kind) []byte {
	return append(append(make([]byte, 0, idLen+16), l[:]...), byte(k))
}

func numbered(l storage.LedgerID, k Kind, seq uint64) []byte {
	return binary.BigEndian.AppendUint32(OfKind(l, k), uint32(seq))
}

// HeadKey is where a ledger's head lies.
func HeadKey(l storage.LedgerID) []byte { return OfKind(l, KindHead) }

// SecretKey is where a ledger's secret lies; it also seals the secret to its ledger.
func SecretKey(l storage.LedgerID) []byte { return OfKind(l, KindSecret) }

// PageKey is where the packed entries first … first+31 lie.
func PageKey(l storage.LedgerID, first uint64) []byte { return numbered(l, KindPage, first) }

// TailKey is where one entry lies that is not packed yet. These keys count
// down, so that the newest entry lies beside the head.
func TailKey(l storage.LedgerID, seq uint64) []byte {
	return binary.BigEndian.AppendUint32(OfKind(l, KindTail), ^uint32(seq))
}

// PostsKey is where the posts of the batch that ended at last lie.
func PostsKey(l storage.LedgerID, last uint64) []byte { return numbered(l, KindPosts, last) }

// WordKey is where a word of an entry lies; with name "" it begins them all.
func WordKey(l storage.LedgerID, seq uint64, name string) []byte {
	return append(numbered(l, KindWord, seq), name...)
}

// PlayerKey is where the person behind a pseudonym lies.
func PlayerKey(l storage.LedgerID, pseudonym string) []byte {
	return append(OfKind(l, KindPlayer), pseudonym...)
}

// TimerKey is where a timer's due time lies.
func TimerKey(l storage.LedgerID, name string) []byte {
	return append(OfKind(l, KindTimer), name...)
}

// LedgerOf takes a key of the table Ledgers apart.
func LedgerOf(key []byte) (l storage.LedgerID, k Kind, rest []byte, ok bool) {
	if len(key) <= idLen {
		return l, 0, nil, false
	}
	copy(l[:], key)
	return l, Kind(key[idLen]), key[idLen+1:], true
}

// SeqOf reads the number at the start of the rest of a key.
func SeqOf(rest []byte) (seq uint64, more []byte, ok bool) {
	if len(rest) < 4 {
		return 0, nil, false
	}
	return uint64(binary.BigEndian.Uint32(rest)), rest[4:], true
}

// DueKey is where a timer lies, in order of time, then ledger, then name. The
// time is in milliseconds since 1970.
func DueKey(due uint64, l storage.LedgerID, name string) []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 8+idLen+len(name)), due)
	return append(append(b, l[:]...), name...)
}

// ParseDueKey takes a key of the table Timers apart.
func ParseDueKey(key []byte) (due uint64, l storage.LedgerID, name string, ok bool) {
	if len(key) < 8+idLen {
		return 0, l, "", false
	}
	copy(l[:], key[8:])
	return binary.BigEndian.Uint64(key), l, string(key[8+idLen:]), true
}

// QueueKey is where a batch of posts stands in the tables Waiting and Sent.
// Since is in microseconds since 1970.
func QueueKey(since uint64, l storage.LedgerID, last uint64) []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 8+idLen+4), since)
	return binary.BigEndian.AppendUint32(append(b, l[:]...), uint32(last))
}

// ParseQueueKey takes a key of the tables Waiting and Sent apart.
func ParseQueueKey(key []byte) (since uint64, l storage.LedgerID, last uint64, ok bool) {
	if len(key) != 8+idLen+4 {
		return 0, l, 0, false
	}
	copy(l[:], key[8:])
	return binary.BigEndian.Uint64(key), l, uint64(binary.BigEndian.Uint32(key[8+idLen:])), true
}

// PlaceKey is where a place's record lies.
func PlaceKey(place string) []byte { return []byte(place) }

// pair joins two names; no name holds byte 0.
func pair(a, b string) []byte {
	key := append(make([]byte, 0, len(a)+1+len(b)), a...)
	return append(append(key, 0), b...)
}

// ReceiptKey is where the post lies that a platform knows under a receipt.
func ReceiptKey(place, receipt string) []byte { return pair(place, receipt) }

// ShelfKey is where a shelf's value lies; with key "" it begins the shelf.
func ShelfKey(shelf, key string) []byte { return pair(shelf, key) }

// ParseShelfKey takes a key of the table Shelves apart.
func ParseShelfKey(key []byte) (shelf, name string, ok bool) {
	return strings.Cut(string(key), "\x00")
}

// Millis is a time as the keys of timers have it: milliseconds since 1970.
// Whatever is finer is dropped.
func Millis(t time.Time) int64 { return t.UnixMilli() }

// TimeOfMillis is the time, UTC.
func TimeOfMillis(ms uint64) time.Time { return time.UnixMilli(int64(ms)).UTC() }

// TimeOfMicros is the time, UTC.
func TimeOfMicros(us uint64) time.Time { return time.UnixMicro(int64(us)).UTC() }
