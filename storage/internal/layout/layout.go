// Package layout is the one place that knows how a store's keys and records
// look as bytes. Every backend keeps the same bytes, so that ledgers can move
// between them. All integers are big-endian. A record begins with its format
// and ends with a CRC-32C over its table, key and bytes: the database under it
// protects no data page, so a flipped bit or a record under another's key must
// be noticed here. Only a single entry of a ledger's tail is kept bare: the
// ledger's own hashes protect it.
package layout

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"

	"drumhead/storage"
)

// Table is one ordered key space.
type Table byte

// The tables of a store.
const (
	Ledgers  Table = 'L' // everything of a ledger: ledger id, kind, rest
	Places   Table = 'P' // place: its ledger and its open posts
	Timers   Table = 'D' // due time, ledger, name: the timer
	Waiting  Table = 'O' // since, ledger, seq: the waiting posts of a batch
	Sent     Table = 'X' // since, ledger, seq: a batch whose posts are all sent and still have their text
	Receipts Table = 'R' // place, receipt: the post
	Shelves  Table = 'S' // shelf, key: value
	Meta     Table = 'M' // name: what is to be known of the store itself
)

// Tables are all of them, in a fixed order.
func Tables() []Table {
	return []Table{Ledgers, Places, Timers, Waiting, Sent, Receipts, Shelves, Meta}
}

// Format is the format of the store and of its records.
const Format = 1

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sum is the check at the end of a record.
func sum(t Table, key, record []byte) uint32 {
	c := crc32.Update(0, castagnoli, []byte{byte(t)})
	c = crc32.Update(c, castagnoli, key)
	return crc32.Update(c, castagnoli, record)
}

// closed ends a record with its check.
func (w *writer) closed(t Table, key []byte) []byte {
	return binary.BigEndian.AppendUint32(w.b, sum(t, key, w.b))
}

// opened returns a record's fields if its format is known and its check is right.
func opened(t Table, key, record []byte, newest byte) (byte, *reader, error) {
	if len(record) < 5 {
		return 0, nil, fmt.Errorf("%d bytes are too few for a record", len(record))
	}
	body, check := record[:len(record)-4], binary.BigEndian.Uint32(record[len(record)-4:])
	if sum(t, key, body) != check {
		return 0, nil, errors.New("its check sum does not fit its bytes")
	}
	if body[0] == 0 || body[0] > newest {
		return 0, nil, fmt.Errorf("%w: record format %d, this program knows up to %d", storage.ErrFormat, body[0], newest)
	}
	return body[0], &reader{b: body[1:]}, nil
}
