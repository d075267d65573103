package layout

import (
	"encoding/binary"
	"errors"

	"drumhead/storage"
)

// writer puts a record together, field by field.
type writer struct{ b []byte }

// record begins a record of Format, with room for size bytes.
func record(size int) *writer {
	return &writer{b: append(make([]byte, 0, size+5), Format)}
}

func (w *writer) u8(v byte)    { w.b = append(w.b, v) }
func (w *writer) u16(v uint16) { w.b = binary.BigEndian.AppendUint16(w.b, v) }
func (w *writer) u32(v uint32) { w.b = binary.BigEndian.AppendUint32(w.b, v) }
func (w *writer) u64(v uint64) { w.b = binary.BigEndian.AppendUint64(w.b, v) }
func (w *writer) raw(v []byte) { w.b = append(w.b, v...) }

// name writes a short text behind its length.
func (w *writer) name(v string) {
	w.u16(uint16(len(v)))
	w.b = append(w.b, v...)
}

// text writes bytes behind their length.
func (w *writer) text(v []byte) {
	w.u32(uint32(len(v)))
	w.raw(v)
}

var errShort = errors.New("it ends too early")
var errLong = errors.New("it has bytes too many")

// reader takes a record apart; the first field that is not there ends it.
type reader struct {
	b     []byte
	short bool
}

// take gives the next n bytes, or zeros if there are not so many.
func (r *reader) take(n int) []byte {
	if r.short || n > len(r.b) {
		r.short = true
		return nil
	}
	v := r.b[:n:n]
	r.b = r.b[n:]
	return v
}

func (r *reader) u8() byte {
	if v := r.take(1); v != nil {
		return v[0]
	}
	return 0
}

func (r *reader) u16() uint16 {
	if v := r.take(2); v != nil {
		return binary.BigEndian.Uint16(v)
	}
	return 0
}

func (r *reader) u32() uint32 {
	if v := r.take(4); v != nil {
		return binary.BigEndian.Uint32(v)
	}
	return 0
}

func (r *reader) u64() uint64 {
	if v := r.take(8); v != nil {
		return binary.BigEndian.Uint64(v)
	}
	return 0
}

func (r *reader) hash() (h storage.Hash) {
	copy(h[:], r.take(len(h)))
	return h
}

func (r *reader) ledger() (l storage.LedgerID) {
	copy(l[:], r.take(len(l)))
	return l
}

func (r *reader) name() string { return string(r.take(int(r.u16()))) }

// text is a copy of bytes behind their length.
func (r *reader) text() []byte { return append([]byte{}, r.take(int(r.u32()))...) }

// rest is a copy of everything that is left.
func (r *reader) rest() []byte { return append([]byte{}, r.take(len(r.b))...) }

// end errs if a field was missing or bytes are left.
func (r *reader) end() error {
	switch {
	case r.short:
		return errShort
	case len(r.b) > 0:
		return errLong
	}
	return nil
}
