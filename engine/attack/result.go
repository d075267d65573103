package attack

import "encoding/json"

// Result is everything that happened, die by die, in the order drawn: dice for
// the number of attacks, then step by step, then packet by packet (its save, its
// damage, its last saves). As JSON it holds whole numbers and truth values only.
type Result struct {
	NumberDice []int    `json:"number_dice,omitempty"`
	Attacks    int      `json:"attacks"`
	Steps      []Rolled `json:"steps,omitempty"`
	Through    int      `json:"through"` // tokens that came out of the last step
	Packets    []Packet `json:"packets,omitempty"`
	Unneeded   int      `json:"unneeded,omitempty"` // tokens left when nobody stood any more
	Rung       int      `json:"rung,omitempty"`     // wounds crossed off, those before this attack included
	Crossed    int      `json:"crossed,omitempty"`  // wounds crossed off by this attack
	Fell       int      `json:"fell,omitempty"`     // models that fell in this attack
	Hurt       int      `json:"hurt,omitempty"`     // wounds that the next model has lost
}

// Rolled is one step as it was rolled.
type Rolled struct {
	Dice   []int    `json:"dice,omitempty"`  // first faces
	Again  []Redone `json:"again,omitempty"` // re-rolled after them
	Free   int      `json:"free,omitempty"`  // tokens that went on without a die
	Passed int      `json:"passed"`          // dice that met the need
	On     int      `json:"on"`              // tokens that go on, extra and sure ones included
	Extra  int      `json:"extra,omitempty"` // more tokens that naturals gave
	Sure   int      `json:"sure,omitempty"`  // tokens of sure damage that naturals gave
}

// Redone is a die that was rolled again: its place among the dice, from 0, and
// the face it shows now. In JSON it is the pair [die,face].
type Redone struct{ Die, Face int }

// MarshalJSON writes the pair.
func (r Redone) MarshalJSON() ([]byte, error) { return json.Marshal([2]int{r.Die, r.Face}) }

// UnmarshalJSON reads the pair.
func (r *Redone) UnmarshalJSON(b []byte) error {
	var pair [2]int
	err := json.Unmarshal(b, &pair)
	r.Die, r.Face = pair[0], pair[1]
	return err
}

// Faces are the faces that count: those after re-rolls.
func (r Rolled) Faces() []int {
	faces := append([]int(nil), r.Dice...)
	for _, a := range r.Again {
		faces[a.Die] = a.Face
	}
	return faces
}

// Packet is one token's damage as it was applied.
type Packet struct {
	Segment   int      `json:"segment,omitempty"`    // whose model was hit first
	Sure      bool     `json:"sure,omitempty"`       // sure damage: no save, spills
	Need      Need     `json:"need,omitzero"`        // of the save; absent if no die was rolled
	Save      int      `json:"save,omitempty"`       // its first face
	SaveAgain int      `json:"save_again,omitempty"` // its face after a re-roll
	Saved     bool     `json:"saved,omitempty"`
	Damage    []int    `json:"damage,omitempty"` // dice of the amount
	Points    int      `json:"points,omitempty"` // the amount, and what naturals added
	Last      []int    `json:"last,omitempty"`   // a last save for each point
	LastAgain []Redone `json:"last_again,omitempty"`
	Stopped   int      `json:"stopped,omitempty"` // points stopped by last saves
	Crossed   int      `json:"crossed,omitempty"` // wounds crossed off
	Fell      int      `json:"fell,omitempty"`    // models that fell by it
}
