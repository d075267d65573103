package attack

// Term is dice that a total adds up.
type Term struct {
	Dice  int // how many are rolled
	Sides int
	Keep  int // 0: all count; k: the best k; -k: the worst k
	Times int // their sum is multiplied by it: 1, -1 to subtract, 10 for the tens of a d66; 0 is read as 1
	Open  int // a die that shows its top face is rolled again and added, so many times at the most;
	// a total with such a term has no re-rolls
}

// Judge says how a total is judged.
type Judge int

// The ways to judge a total; Value is what it is judged by. A roll against
// another total is an Opposed.
const (
	Unjudged Judge = iota
	TotalAtLeast
	TotalAtMost
	TotalMoreThan
)

// Total is dice added up, plus a number, perhaps judged.
type Total struct {
	Terms   []Term
	Plus    int
	Judge   Judge
	Value   int
	Rerolls Rerolls // Ones, Misses, Passes, Worst
}

// Sum is a total as it was rolled.
type Sum struct {
	Terms  []TermRolled `json:"terms,omitempty"`
	Total  int          `json:"total"`
	Passed bool         `json:"passed,omitempty"` // as judged; false if unjudged
}

// TermRolled is the dice of one term. Dice are the first faces in the order
// drawn; Again those rolled anew; More the faces added to an open-ended die, by its place; Kept the
// places, from 0, of the dice that count, absent when all do.
type TermRolled struct {
	Dice  []int    `json:"dice"`
	Again []Redone `json:"again,omitempty"`
	More  []Redone `json:"more,omitempty"`
	Kept  []int    `json:"kept,omitempty"`
}

// Tie says what equal totals mean.
type Tie int

// The meanings of a tie.
const (
	TieStands    Tie = iota
	TieToMine        // equal is enough for the first side
	TieToTheirs      // equal is enough for the second side
	TieRollAgain     // both roll again, MostTies times at the most; then the tie stands
)

// MostTies is how often a tie is rolled again.
const MostTies = 20

// Opposed is one total against another.
type Opposed struct {
	Mine, Theirs Total
	Tie          Tie
}

// OpposedRolled is an opposed roll: every bout, and who won: 1 the first side,
// -1 the second, 0 neither.
type OpposedRolled struct {
	Bouts  []Bout `json:"bouts"`
	Winner int    `json:"winner"`
}

// Bout is both totals, once.
type Bout struct {
	Mine   Sum `json:"mine"`
	Theirs Sum `json:"theirs"`
}

// Pool is so many tokens through one step.
type Pool struct {
	Number int
	Step   Each
}

// Pools is one pool against another: each success of theirs cancels one of mine.
type Pools struct{ Mine, Theirs Pool }

// PoolsRolled is both pools as they were rolled, and what is left of mine.
type PoolsRolled struct {
	Mine   Rolled `json:"mine"`
	Theirs Rolled `json:"theirs"`
	Left   int    `json:"left"`
}
