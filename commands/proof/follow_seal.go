package proof

import (
	"encoding/json"
	"slices"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// Why a seal is opened.
const (
	First    = "first"    // the ledger's first
	Spent    = "spent"    // the one in use nears its end; takes over after it
	Restored = "restored" // the store may hold keys that the chat has seen
	Asked    = "asked"    // a player wanted a new one
)

// only refuses members of an object other than those named.
func only(o storage.Object, names ...string) error {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(o, &members); err != nil {
		return breaks(storage.RuleForm, "args", "member", "")
	}
	for name := range members {
		if !slices.Contains(names, name) {
			return breaks(storage.RuleForm, "args.more", "member", name)
		}
	}
	return nil
}

// openSeal takes a new seal up. One that is spent soon lets the other follow
// it; any other reason gives up what is left of the old ones.
func (b *Book) openSeal(rec *storage.Record) error {
	s, why, err := b.newSeal(rec)
	if err != nil {
		return err
	}
	b.tips, b.opened = append(slices.Clone(b.tips), s.tip), rec.Seq
	if why == Spent {
		b.next = s
		return nil
	}
	b.seal, b.next = s, nil
	b.lose()
	return nil
}

// newSeal reads what opens a seal.
func (b *Book) newSeal(rec *storage.Record) (*seal, string, error) {
	if err := only(rec.Args, "tip", "length", "why", "round"); err != nil {
		return nil, "", err
	}
	value, _ := storage.Member(rec.Args, "tip")
	tip, _ := storage.Text(value)
	key, err := dice.ParseKey(tip)
	length, counted := numberIn(rec.Args, "length")
	if err != nil || !counted || length < 1 || length > dice.LongestSeal || slices.Contains(b.tips, tip) {
		return nil, "", breaks(storage.RuleSeal, "seal.tip")
	}
	s := &seal{tip: tip, length: length, shown: key, cut: NoCut}
	round, rounded := storage.Member(rec.Args, "round")
	switch {
	case rounded != (b.chain != nil):
		return nil, "", breaks(storage.RuleSeal, "seal.round")
	case rounded:
		s.cut = ""
		if s.round, rounded = storage.Number(round); !rounded || !b.chain.Ahead(s.round, rec.Time) {
			return nil, "", breaks(RuleRound, "round", "round", int64(s.round))
		}
	}
	why, err := b.whySeal(rec.Args)
	return s, why, err
}

// whySeal checks that a seal may be opened for the reason it gives.
func (b *Book) whySeal(args storage.Object) (string, error) {
	value, _ := storage.Member(args, "why")
	why, _ := storage.Text(value)
	fits := false
	switch why {
	case First:
		fits = b.seal == nil
	case Spent: // in time, one at a time, and with the one in use cut
		fits = b.seal != nil && b.seal.left() > 0 && b.next == nil && b.seal.cut != ""
	case Restored, Asked:
		fits = b.seal != nil
	}
	if !fits {
		return why, breaks(storage.RuleSeal, "seal.why", "why", why)
	}
	return why, nil
}

// lose marks what waits for a word under a seal that was given up: its key is
// never shown.
func (b *Book) lose() {
	b.wait = slices.Clone(b.wait)
	for i := range b.wait {
		if b.wait[i].Key == "" {
			b.wait[i].Lost = true
		}
	}
}

// cutSeal mixes its round into the seal that waits for one.
func (b *Book) cutSeal(rec *storage.Record, full bool) error {
	if err := only(rec.Args, "signature"); err != nil {
		return err
	}
	old := b.next
	if old == nil || old.cut != "" {
		old = b.seal
	}
	if old == nil || old.cut != "" {
		return breaks(storage.RuleSeal, "seal.cut")
	}
	signature, _ := storage.Member(rec.Args, "signature")
	randomness, err := b.round(old.round, rec.Time, signature, full)
	if err != nil {
		return err
	}
	now := *old
	now.cut = beacon.Cut(old.round, randomness)
	b.put(old, &now)
	return nil
}
