package proof

import (
	"encoding/json"
	"errors"
	"fmt"
	"sync/atomic"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// MostKept is how many seals' secrets a ledger keeps: the one in use, the one
// that follows it, and one more while an entry of an old one waits.
const MostKept = 3

// ErrSealLost says that the store has no keys of the seal that a ledger draws
// from: it was restored from a backup, which holds none.
var ErrSealLost = errors.New("proof: the keys of the seal in use are not in this store")

// Keys are the secret keys behind the seals of a ledger: of each only its last
// key, from which all others follow. It is a value: With gives another. It
// lies in the store's secret of the ledger and nowhere else; it never enters a
// log line, and prints as a count.
type Keys struct{ list []sealKeys }

// sealKeys keeps its keys behind a function, so that no way of printing what
// holds it can show one.
type sealKeys struct {
	tip    string
	length int
	key    func(draw int) dice.Key
}

// sealText is how one seal is written in the store's secret.
type sealText struct {
	Last   string `json:"last"`
	Length int    `json:"length"`
	Tip    string `json:"tip"`
}

// String tells how many there are and nothing else.
func (s Keys) String() string { return fmt.Sprintf("%d seals", len(s.list)) }

// GoString is String, so that no way of printing shows a key.
func (s Keys) GoString() string { return s.String() }

// With adds a new seal, and drops the oldest beyond MostKept.
func (s Keys) With(last dice.Key, length int) (Keys, error) {
	chain, err := dice.NewChain(last, length)
	if err != nil {
		return s, err
	}
	list := append(append([]sealKeys{}, s.list...), sealKeys{tip: chain.Tip().String(), length: length, key: inOrder(chain)})
	return Keys{list: list[max(0, len(list)-MostKept):]}, nil
}

// inOrder gives keys of a chain, and remembers the stretch in which the last one lay:
// draws are taken in order.
func inOrder(chain *dice.Chain) func(draw int) dice.Key {
	type run struct {
		first int
		keys  []dice.Key
	}
	var last atomic.Pointer[run]
	return func(draw int) dice.Key {
		r := last.Load()
		if r == nil || draw < r.first || draw >= r.first+len(r.keys) {
			r = &run{}
			r.first, r.keys = chain.Run(draw)
			last.Store(r)
		}
		return r.keys[draw-r.first]
	}
}

// Newest is the tip and the length of the seal added last.
func (s Keys) Newest() (tip string, length int) {
	if len(s.list) == 0 {
		return "", 0
	}
	n := s.list[len(s.list)-1]
	return n.tip, n.length
}

// Key finds the key of a draw.
func (s Keys) Key(tip string, draw uint64) (dice.Key, error) {
	for _, k := range s.list {
		if k.tip == tip && draw <= uint64(k.length) {
			return k.key(int(draw)), nil
		}
	}
	return dice.Key{}, ErrSealLost
}

// Encode writes the seals for the store's secret; at most MaxSecret bytes.
func (s Keys) Encode() ([]byte, error) {
	texts := make([]sealText, len(s.list))
	for i, k := range s.list {
		texts[i] = sealText{Last: k.key(k.length).String(), Length: k.length, Tip: k.tip}
	}
	b, err := storage.Canon(texts)
	if err == nil && len(b) > storage.MaxSecret {
		err = fmt.Errorf("proof: seals of %d bytes, at most %d expected", len(b), storage.MaxSecret)
	}
	return b, err
}

// ParseKeys reads what Encode wrote, and no other spelling. No bytes are no
// seals. The error never shows what was read.
func ParseKeys(b []byte) (Keys, error) {
	var s Keys
	if len(b) == 0 {
		return s, nil
	}
	var texts []sealText
	if err := json.Unmarshal(b, &texts); err != nil || len(texts) > MostKept {
		return s, errors.New("proof: the secret of the ledger is no list of seals")
	}
	for _, t := range texts {
		last, err := dice.ParseKey(t.Last)
		if err != nil {
			return Keys{}, errors.New("proof: a seal's last key is spelled wrongly")
		}
		if s, err = s.With(last, t.Length); err != nil {
			return Keys{}, fmt.Errorf("proof: %w", err)
		}
		if tip, _ := s.Newest(); tip != t.Tip {
			return Keys{}, errors.New("proof: a seal's last key does not lead to its tip")
		}
	}
	if again, err := s.Encode(); err != nil || string(again) != string(b) {
		return Keys{}, errors.New("proof: the secret of the ledger has another spelling than the one")
	}
	return s, nil
}
