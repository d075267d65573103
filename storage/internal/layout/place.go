package layout

import "drumhead/storage"

// MaxOpen is how many open posts a place remembers.
const MaxOpen = 32

// Place is what is known of a place: its newest ledger and its open posts.
// A place that only ever got posts has the zero ledger.
type Place struct {
	Ledger storage.LedgerID
	Open   []storage.PostID // the newest first
}

// EncodePlace gives the record of a place.
func EncodePlace(key []byte, p Place) []byte {
	w := record(24 + 24*len(p.Open))
	w.raw(p.Ledger[:])
	w.u8(byte(len(p.Open)))
	for _, id := range p.Open {
		w.post(id)
	}
	return w.closed(Places, key)
}

// DecodePlace reads it back.
func DecodePlace(key, rec []byte) (Place, error) {
	_, r, err := opened(Places, key, rec, Format)
	if err != nil {
		return Place{}, err
	}
	p := Place{Ledger: r.ledger()}
	for range r.u8() {
		p.Open = append(p.Open, r.post())
	}
	return p, r.end()
}
