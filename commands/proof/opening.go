package proof

import (
	"fmt"
	"time"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// SealLength is how many keys a new seal has.
const SealLength = 4096

// SpareKeys is how many keys are left of a seal when the next one is opened:
// enough for the dice that may be rolled until its round is out.
const SpareKeys = 128

// From says which ledger a new one goes on from, after a restore.
type From struct {
	Ledger string `json:"ledger"`
	Root   string `json:"root"` // of its entries, in base64
	Size   uint64 `json:"size"`
	Why    string `json:"why"`
}

// Start is what a new ledger begins with.
type Start struct {
	Ledger storage.LedgerID
	Time   time.Time
	VKey   string        // the bot's verifier key for this ledger; see storage.VKey
	From   *From         // the ledger it goes on from; nil for none
	Chain  *beacon.Chain // of the beacon that cuts dice there; nil without one
	Round  uint64        // which cuts the first seal; 0 without a beacon
	Last   dice.Key
	Length int // of the first seal; usually SealLength
}

// Opening makes the first entries of a ledger, which are opened in one breath:
// the ledger and its first seal. Their seq and head are set; Line gives their
// bytes. A name that begins with storage.PracticeName makes a practice ledger.
func Opening(s Start) ([]storage.Record, Keys, error) {
	name, id, _, err := storage.ParseVKey(s.VKey)
	if err != nil {
		return nil, Keys{}, err
	}
	if id != s.Ledger {
		return nil, Keys{}, fmt.Errorf("proof: the verifier key is of ledger %s, %s expected", id, s.Ledger)
	}
	chain := ""
	if s.Chain != nil {
		chain = s.Chain.Hash
	}
	args := struct {
		Chain    string `json:"chain,omitempty"`
		From     *From  `json:"from,omitempty"`
		Practice bool   `json:"practice,omitempty"`
		VKey     string `json:"vkey"`
	}{chain, s.From, isPractice(name), s.VKey}
	open := storage.Record{Ledger: s.Ledger, Time: s.Time, Player: storage.Bot, Command: "ledger.open"}
	if open.Args, err = storage.Canon(args); err != nil {
		return nil, Keys{}, err
	}
	seal, seals, err := OpenSeal(Keys{}, First, s.Last, s.Length, s.Round)
	if err != nil {
		return nil, Keys{}, err
	}
	seal.Ledger, seal.Time = s.Ledger, s.Time
	records := []storage.Record{open, seal}
	if _, err := Lines(storage.Head{Ledger: s.Ledger}, records); err != nil {
		return nil, Keys{}, err
	}
	b := NewBook(s.Chain)
	for _, r := range records {
		if b, err = b.Verify(r); err != nil {
			return nil, Keys{}, err
		}
	}
	return records, seals, nil
}

// OpenSeal makes the entry that opens a seal, and the secrets with its keys
// among them. round is that of its cut, 0 without a beacon; last comes from the
// operating system's generator. Ledger, seq, head and time are not set.
func OpenSeal(s Keys, why string, last dice.Key, length int, round uint64) (storage.Record, Keys, error) {
	s, err := s.With(last, length)
	if err != nil {
		return storage.Record{}, s, err
	}
	tip, _ := s.Newest()
	rec := storage.Record{Player: storage.Bot, Command: "seal.open"}
	rec.Args, err = storage.Canon(struct {
		Length int    `json:"length"`
		Round  uint64 `json:"round,omitempty"`
		Tip    string `json:"tip"`
		Why    string `json:"why"`
	}{length, round, tip, why})
	return rec, s, err
}

// CutSeal makes the entry that mixes a round into the seal that waits for it.
func CutSeal(signature string) (storage.Record, error) {
	args, err := storage.Canon(map[string]string{"signature": signature})
	return storage.Record{Player: storage.Bot, Command: "seal.cut", Args: args}, err
}

// Due tells whether a new seal should be opened now, so that it is cut before
// the one in use is spent.
func (b Book) Due() bool {
	return b.seal != nil && b.next == nil && b.seal.cut != "" && b.seal.left() > 0 && b.seal.left() <= min(SpareKeys, b.seal.length/2)
}

// Lines sets ledger, seq and head of entries that follow one another after a
// head, and gives their bytes as a store takes them.
func Lines(head storage.Head, records []storage.Record) ([]storage.Entry, error) {
	entries := make([]storage.Entry, len(records))
	for i := range records {
		r := &records[i]
		r.Ledger, r.Seq, r.Head = head.Ledger, head.Size+uint64(i), head.Last
		b, err := r.Encode()
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", r.Seq, err)
		}
		entries[i] = storage.Entry{Seq: r.Seq, Bytes: b}
		head.Last = storage.LeafHash(b)
	}
	return entries, nil
}
