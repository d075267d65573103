package layout

import "drumhead/storage"

// EncodeDue gives the record of a timer's due time, in milliseconds since 1970.
func EncodeDue(key []byte, due uint64) []byte {
	w := record(8)
	w.u64(due)
	return w.closed(Ledgers, key)
}

// DecodeDue reads it back.
func DecodeDue(key, rec []byte) (uint64, error) {
	_, r, err := opened(Ledgers, key, rec, Format)
	if err != nil {
		return 0, err
	}
	due := r.u64()
	return due, r.end()
}

// EncodeTimer gives the record of a timer's message.
func EncodeTimer(key, message []byte) []byte { return bare(Timers, key, message) }

// DecodeTimer gives a copy of the message.
func DecodeTimer(key, rec []byte) ([]byte, error) { return unbare(Timers, key, rec) }

// EncodeValue gives the record of a value on a shelf.
func EncodeValue(key, value []byte) []byte { return bare(Shelves, key, value) }

// DecodeValue gives a copy of the value.
func DecodeValue(key, rec []byte) ([]byte, error) { return unbare(Shelves, key, rec) }

// EncodeMeta gives the record of something about the store.
func EncodeMeta(key, value []byte) []byte { return bare(Meta, key, value) }

// DecodeMeta gives a copy of it.
func DecodeMeta(key, rec []byte) ([]byte, error) { return unbare(Meta, key, rec) }

// bare is a record of one field.
func bare(t Table, key, value []byte) []byte {
	w := record(len(value))
	w.raw(value)
	return w.closed(t, key)
}

func unbare(t Table, key, rec []byte) ([]byte, error) {
	_, r, err := opened(t, key, rec, Format)
	if err != nil {
		return nil, err
	}
	return r.rest(), nil
}

// EncodeWord gives the record of a word: salt, then text.
func EncodeWord(key []byte, salt []byte, text string) []byte {
	return bare(Ledgers, key, append(append(make([]byte, 0, SaltLen+len(text)), salt...), text...))
}

// DecodeWord reads it back.
func DecodeWord(key, rec []byte) (salt []byte, text string, err error) {
	b, err := unbare(Ledgers, key, rec)
	if err != nil {
		return nil, "", err
	}
	if len(b) < SaltLen {
		return nil, "", errShort
	}
	return b[:SaltLen:SaltLen], string(b[SaltLen:]), nil
}

// Player is who stands behind a pseudonym, and when they came: with the batch
// that ended at Seq, in which they were the N-th.
type Player struct {
	Seq    uint64
	N      int
	Person string
}

// EncodePlayer gives the record of a pseudonym.
func EncodePlayer(key []byte, p Player) []byte {
	w := record(8 + len(p.Person))
	w.u32(uint32(p.Seq))
	w.u16(uint16(p.N))
	w.raw([]byte(p.Person))
	return w.closed(Ledgers, key)
}

// DecodePlayer reads it back.
func DecodePlayer(key, rec []byte) (Player, error) {
	_, r, err := opened(Ledgers, key, rec, Format)
	if err != nil {
		return Player{}, err
	}
	p := Player{Seq: uint64(r.u32()), N: int(r.u16())}
	p.Person = string(r.rest())
	return p, r.end()
}

// Damage is the error for a record of a ledger that does not decode.
func Damage(l storage.LedgerID, seq uint64, what string, err error) error {
	return &storage.Damaged{Ledger: l, Seq: seq, What: what + ": " + err.Error()}
}
