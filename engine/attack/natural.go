package attack

// Gift is what a natural face gives to the token whose die shows it.
type Gift int

// The gifts. Amount is the number of tokens, steps, points or faces.
const (
	Extra        Gift = iota // so many more tokens, right after their parent
	Skip                     // the token goes on through the next so many steps without a die
	NoSave                   // no save may be rolled against it; a last save may
	MoreDamage               // so many points of damage more
	MorePiercing             // saves against it are worse by so many faces
	Sure                     // the token ends here and does so many points of sure damage
	AlsoSure                 // so many points of sure damage besides, whatever becomes of the token
)

// Natural acts on a die that goes on and shows From or more, after its re-roll
// and before modifiers.
type Natural struct {
	From   int
	Gift   Gift
	Amount int // 1 or more; NoSave ignores it
}

// token is one attack on its way. A token with sure points needs no more dice.
type token struct {
	skip, damage, piercing, sure int
	noSave                       bool
}

// family is a token with what its natural face gave: the token itself (which a
// sure token may have replaced), its extra tokens, and sure damage besides.
// before is the token as it came to the step; extra tokens are like it.
type family struct {
	before, self token
	extra        int
	alsoSure     int
}

// giftKind is a row of the registry of gifts: its word in packs, what it gives
// (to who rolls and to who solves), and its sentence.
type giftKind struct {
	id    string
	give  func(f *family, amount int)
	words string
}

// giftKinds is the registry, by Gift.
var giftKinds = [...]giftKind{
	Extra:        {"extra", func(f *family, n int) { f.extra += n }, "rule.natural.extra"},
	Skip:         {"skip", func(f *family, n int) { f.self.skip += n }, "rule.natural.skip"},
	NoSave:       {"no_save", func(f *family, _ int) { f.self.noSave = true }, "rule.natural.no_save"},
	MoreDamage:   {"damage", func(f *family, n int) { f.self.damage += n }, "rule.natural.damage"},
	MorePiercing: {"pierce", func(f *family, n int) { f.self.piercing += n }, "rule.natural.pierce"},
	Sure:         {"sure", func(f *family, n int) { f.self.sure += n }, "rule.natural.sure"},
	AlsoSure:     {"also_sure", func(f *family, n int) { f.alsoSure += n }, "rule.natural.also_sure"},
}

// GiftNamed finds a gift by the key that packs use: "extra", "skip", "no_save",
// "damage", "pierce", "sure" or "also_sure".
func GiftNamed(id string) (Gift, bool) {
	for g, k := range giftKinds {
		if k.id == id {
			return Gift(g), true
		}
	}
	return 0, false
}

// gifts works out what a face gives to a token at this step.
func (e Each) gifts(t token, face int) family {
	if len(e.Naturals) == 0 {
		return family{before: t, self: t}
	}
	f := family{before: t, self: t}
	for _, n := range e.Naturals {
		if face >= n.From {
			giftKinds[n.Gift].give(&f, n.Amount)
		}
	}
	return f
}

// tokens lists the family in the order in which damage is applied.
func (f family) tokens(to []token) []token {
	to = append(to, f.self)
	for range f.extra {
		to = append(to, f.before)
	}
	if f.alsoSure > 0 {
		to = append(to, token{sure: f.alsoSure})
	}
	return to
}
