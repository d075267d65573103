package attack

// Rerolls is the set of re-rolls that a step or a total allows. Each die is
// re-rolled once at the most, whatever the set.
type Rerolls uint8

// The re-rolls.
const (
	Ones    Rerolls = 1 << iota // every natural 1
	Misses                      // every die that missed; of a total: all its dice, when it failed
	Passes                      // every die that passed; of a total: all its dice, when it passed
	OneMiss                     // the first miss that was not re-rolled yet, in the order of the dice
	Worst                       // of a total that failed: its lowest die
)

// rerollKind is a row of the registry of re-rolls. Picks tells whether a die of
// a step is to be re-rolled; single re-rolls act once in a step.
type rerollKind struct {
	kind   Rerolls
	id     string
	single bool
	each   bool // may stand at an Each
	total  bool // may stand at a Total
	picks  func(face int, passed bool) bool
	words  string // id of its sentence
}

// rerollKinds is the registry, in the order in which the kinds act.
var rerollKinds = [...]rerollKind{
	{kind: Ones, id: "ones", each: true, total: true, picks: func(face int, _ bool) bool { return face == 1 }, words: "rule.reroll.ones"},
	{kind: Misses, id: "misses", each: true, total: true, picks: func(_ int, passed bool) bool { return !passed }, words: "rule.reroll.misses"},
	{kind: Passes, id: "passes", each: true, total: true, picks: func(_ int, passed bool) bool { return passed }, words: "rule.reroll.passes"},
	{kind: OneMiss, id: "one miss", single: true, each: true, picks: func(_ int, passed bool) bool { return !passed }, words: "rule.reroll.one_miss"},
	{kind: Worst, id: "worst", single: true, total: true, picks: func(_ int, passed bool) bool { return !passed }, words: "rule.reroll.worst"},
}

// RerollNamed finds a re-roll by the word that packs use: "ones", "misses",
// "passes", "one miss" or "worst".
func RerollNamed(id string) (Rerolls, bool) {
	for _, k := range rerollKinds {
		if k.id == id {
			return k.kind, true
		}
	}
	return 0, false
}

// FitsEach tells whether a step that rolls for each token knows every re-roll of
// the set.
func (r Rerolls) FitsEach() bool {
	return r.fit(func(k rerollKind) bool { return k.each })
}

// FitsTotal tells whether a total knows every re-roll of the set.
func (r Rerolls) FitsTotal() bool {
	return r.fit(func(k rerollKind) bool { return k.total })
}

func (r Rerolls) fit(where func(rerollKind) bool) bool {
	for _, k := range rerollKinds {
		if r&k.kind != 0 && !where(k) {
			return false
		}
	}
	return true
}

// picks tells whether the set re-rolls a die of a step: by one of the re-rolls
// that act on each die, or, with single, by the one that acts once.
func (r Rerolls) picks(face int, passed, single bool) bool {
	for _, k := range rerollKinds {
		if k.each && k.single == single && r&k.kind != 0 && k.picks(face, passed) {
			return true
		}
	}
	return false
}
