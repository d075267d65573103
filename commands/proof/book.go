package proof

import (
	"slices"
	"time"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// Book is what the dice of a ledger have come to: its seals, which key the next
// draw takes, what waits for a cut, and whose dice may stand again. It is a
// fold over the entries and a value: Follow and Verify return the next one and
// leave the old as it was. The zero Book is that of an empty ledger.
type Book struct {
	known  []*beacon.Chain // chains known besides those of the program
	ledger string
	size   uint64        // entries so far
	chain  *beacon.Chain // nil without a beacon
	seal   *seal         // drawn from; nil before the first
	next   *seal         // opened in time, takes over when the other is spent; nil if none
	tips   []string      // of all seals ever opened
	opened uint64        // the entry that opened the newest
	wait   []Pending
	drawn  window[*drawn]
	words  window[usedWord]
}

// NewBook is the Book of an empty ledger for who knows chains of a beacon that
// this program does not know by itself.
func NewBook(known ...*beacon.Chain) Book { return Book{known: known} }

// chainOf finds a chain by its hash among those that are known.
func chainOf(hash string, known []*beacon.Chain) (*beacon.Chain, bool) {
	for _, c := range known {
		if c != nil && c.Hash == hash {
			return c, true
		}
	}
	return beacon.Known(hash)
}

// seal is one seal as it stands. It is never changed: its next state is a copy.
type seal struct {
	tip    string
	length uint64
	taken  uint64   // draws so far
	shown  dice.Key // the key shown last; at first the tip
	round  uint64   // of its own cut; 0 without a beacon
	cut    string   // "" while its round is not in
}

func (s seal) left() uint64 { return s.length - s.taken }

// Pending is an entry that has taken its draw, can no longer change, and waits
// for its cut.
type Pending struct {
	Seq     uint64
	Player  string
	Command string
	Seal    string
	Draw    uint64
	Round   uint64    // waits for this round; 0 for a word
	By      string    // waits for the word of this player; "" for a round
	Until   time.Time // until when for the word
	Key     string    // hex; "" while it is secret
	Lost    bool      // the seal was given up while the key was secret: only void can end it

	battle int64    // of which battle, none: -1
	before dice.Key // the key before this one, shown already
}

// drawn is where the dice of a resolved entry come from.
type drawn struct {
	seq     uint64 // of the command's entry
	command string
	battle  int64
	key     dice.Key
	draw    uint64
	cut     string
	at      uint64 // byte of the stream at which its own dice began
	runs    dice.Runs
}

type usedWord struct {
	seq  uint64
	hash string
}

// Size tells how many entries were followed.
func (b Book) Size() uint64 { return b.size }

// Chain is the beacon's chain that cuts dice here, nil if there is none.
func (b Book) Chain() *beacon.Chain { return b.chain }

// Pending lists what waits for a cut, the oldest first.
func (b Book) Pending() []Pending { return slices.Clone(b.wait) }

// WordUsed tells whether a word, by its hex SHA-256, was a cut in one of the
// Reach entries before the next one.
func (b Book) WordUsed(hash string) bool {
	_, used := b.words.find(func(w usedWord) bool { return w.hash == hash && b.size-w.seq <= Reach })
	return used
}

// Frozen tells whether a battle waits for a cut, so that no other entry of it
// may be appended.
func (b Book) Frozen(battle uint64) bool {
	return slices.ContainsFunc(b.wait, func(p Pending) bool { return p.battle == int64(battle) })
}

// AwaitsWord tells whether a word is awaited, so that nothing else may draw.
func (b Book) AwaitsWord() bool {
	return slices.ContainsFunc(b.wait, func(p Pending) bool { return p.Round == 0 && !p.Lost })
}

// inUse is the seal that the next draw is taken from, nil if there is none.
func (b *Book) inUse() *seal {
	if b.seal != nil && b.next != nil && b.seal.left() == 0 {
		return b.next
	}
	return b.seal
}

// InUse says what the next draw takes: the seal's tip, the number of the draw,
// and the seal's cut, "" while its round is not in. False if no key is left.
func (b Book) InUse() (tip string, draw uint64, cut string, ok bool) {
	s := b.inUse()
	if s == nil || s.left() == 0 {
		return "", 0, "", false
	}
	return s.tip, s.taken + 1, s.cut, true
}

// Opened is the entry that opened the newest seal.
func (b Book) Opened() uint64 { return b.opened }

// Left tells how many keys are left of the seal in use.
func (b Book) Left() uint64 {
	if s := b.inUse(); s != nil {
		return s.left()
	}
	return 0
}

// Follows tells whether a seal is open that takes over once this one is spent.
func (b Book) Follows() bool { return b.next != nil && b.inUse() != b.next }

// Uncut is the round that a seal waits for, 0 if every seal is cut.
func (b Book) Uncut() uint64 {
	for _, s := range []*seal{b.next, b.seal} {
		if s != nil && s.cut == "" {
			return s.round
		}
	}
	return 0
}

// put replaces a seal by its next state.
func (b *Book) put(old, now *seal) {
	switch old {
	case b.next: // the first draw from it: the old one is spent
		if now.taken > 0 {
			b.seal, b.next = now, nil
		} else {
			b.next = now
		}
	case b.seal:
		b.seal = now
	}
}

// pending finds what waits, by the seq of its entry.
func (b *Book) pending(seq uint64) (Pending, bool) {
	i := slices.IndexFunc(b.wait, func(p Pending) bool { return p.Seq == seq })
	if i < 0 {
		return Pending{}, false
	}
	return b.wait[i], true
}

// settle takes an entry off the list of those that wait.
func (b *Book) settle(seq uint64) {
	b.wait = slices.DeleteFunc(slices.Clone(b.wait), func(p Pending) bool { return p.Seq == seq })
}

// replace puts a waiting entry's next state in place of the old one.
func (b *Book) replace(p Pending) {
	b.wait = slices.Clone(b.wait)
	for i := range b.wait {
		if b.wait[i].Seq == p.Seq {
			b.wait[i] = p
		}
	}
}

// remember keeps where an entry's dice come from, so that they can stand again.
func (b *Book) remember(d drawn) {
	b.drawn = b.drawn.add(&d, func(old *drawn) bool { return b.size-old.seq > Reach })
}

// numberIn reads a number among args; false if it is not there.
func numberIn(args storage.Object, name string) (uint64, bool) {
	value, ok := storage.Member(args, name)
	if !ok {
		return 0, false
	}
	return storage.Number(value)
}

// battleIn is the battle that a command belongs to, -1 for none.
func battleIn(args storage.Object) int64 {
	if n, ok := numberIn(args, "battle"); ok {
		return int64(n)
	}
	return -1
}
