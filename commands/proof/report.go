package proof

import (
	"time"

	"drumhead/commands/beacon"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// Options are what a ledger is checked against, besides itself.
type Options struct {
	// Checkpoints are signed notes. Each must be signed by the ledger's own key
	// and hold for these entries.
	Checkpoints [][]byte
	// Keys are verifier keys that the reader trusts by other means. One of the
	// ledger's own name must be the ledger's key; one of any other name is that
	// of a cosigner, whose signatures are then checked and named.
	Keys []string
	// Words are salts and texts that lie beside the ledger; each must be what
	// some `said` of its entry stands for.
	Words []storage.Word
	// Chains of a beacon that the reader knows besides those of the program.
	Chains []*beacon.Chain
	// Replay makes the events of every entry once more. nil: rules are not replayed.
	Replay Replay

	// skim leaves out signatures and faces of entries for which it is true.
	skim func(seq uint64) bool
	// seen is called with each entry that was found good.
	seen func(rec storage.Record, leaf storage.Hash, before Book)
}

// Report is what Check found.
type Report struct {
	Fault *Fault // the first thing wrong, nil if nothing is

	Ledger   storage.LedgerID
	VKey     string // the verifier key that the ledger names
	Practice bool
	Chain    string // hash of the beacon's chain, "" without a beacon
	From     *From  // the ledger that this one goes on from, nil for none

	Size  uint64       // entries found good
	Root  storage.Hash // over them
	First time.Time
	Last  time.Time

	Draws   int // entries that took a draw
	Dice    int // dice shown
	Seals   int // seals opened
	Rounds  int // rounds of the beacon checked
	Words   int // cuts by a player's word
	Again   int // entries whose dice stood again
	Opened  int // sealed values brought into the open
	Waiting int // entries that still wait for a cut

	Signed  []Signed // good checkpoints, the smallest first
	Covered uint64   // size of the largest; what is younger can still be rewritten
	Said    int      // words that were given and fit

	Replayed int      // entries whose events were made once more
	Missing  []string // SHA-256 of pinned files without which rules were not replayed; nil if all were there
	Rules    bool     // whether all rules were replayed

	Remarks []Remark // what is no fault and everybody should see

	stands Book // as the dice stood after the entries found good
	notes  []signedNote
}

// Signed is a checkpoint that holds for the ledger.
type Signed struct {
	Size      uint64
	Root      storage.Hash
	Cosigners []string // whose keys were given and who signed it too
}

// Kinds of remarks.
const (
	RemarkPractice = "practice" // a practice ledger: for trying out
	RemarkFrom     = "from"     // goes on from another ledger, after a restore
	RemarkWait     = "wait"     // entry Of was moved to another round
	RemarkVoid     = "void"     // entry Of ended without dice
	RemarkGivenUp  = "given-up" // a seal was given up with keys left
)

// Remark is something that is allowed, and that a verifier must show.
type Remark struct {
	Kind  string
	Entry uint64 // where it stands
	Of    uint64 // the entry it is about
	Why   string // as the entry says it
	Keys  uint64 // keys that were left
}

// Reason is the remark as a sentence of the catalogue.
func (r Remark) Reason() reason.Reason {
	return reason.New("proof.remark."+r.Kind, "entry", int64(r.Entry), "of", int64(r.Of), "why", r.Why, "keys", int64(r.Keys))
}
