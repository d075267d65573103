package proof

import (
	"errors"
	"fmt"

	"drumhead/engine/reason"
	"drumhead/storage"
)

// Rules that a ledger can break, besides those of the form of an entry
// (storage.RuleJSON and its like). A Fault names one of them.
const (
	RuleSignature  = "signature"  // the signature of a round
	RuleRound      = "round"      // which round is waited for, and when it is due
	RuleWait       = "wait"       // whom or what an entry waits for
	RuleVoid       = "void"       // the end of an entry without dice
	RuleAgain      = "again"      // whose dice stand again
	RuleOpened     = "opened"     // a sealed value brought into the open
	RuleOrder      = "order"      // what may not happen while an entry waits
	RuleBattle     = "battle"     // the battle that a command belongs to
	RuleCheckpoint = "checkpoint" // a signed size and root
	RuleFork       = "fork"       // two signed histories of one ledger
	RuleWords      = "words"      // the words behind an entry
	RuleEvents     = "events"     // what the rules make of a command and its dice
)

// AtEnd is the Entry of a Fault that is about no entry of its own.
const AtEnd = -1

// Fault is the first thing that is wrong in a ledger.
type Fault struct {
	Entry int64 // its seq, or AtEnd
	Rule  string
	Why   reason.Reason // a sentence of the catalogue, in proof.fault
}

func (f *Fault) Error() string {
	if f.Entry == AtEnd {
		return fmt.Sprintf("ledger: %s: %s", f.Rule, f.Why.ID)
	}
	return fmt.Sprintf("ledger: entry %d: %s: %s", f.Entry, f.Rule, f.Why.ID)
}

// breaks makes a Fault; whoever knows the entry sets it.
func breaks(rule, id string, pairs ...any) error {
	return &Fault{Entry: AtEnd, Rule: rule, Why: reason.New("proof.fault."+id, pairs...)}
}

// faultAt makes any error the Fault of an entry.
func faultAt(entry int64, err error) *Fault {
	var f *Fault
	if errors.As(err, &f) {
		return &Fault{Entry: entry, Rule: f.Rule, Why: f.Why}
	}
	var i *storage.Invalid
	if errors.As(err, &i) {
		return &Fault{Entry: entry, Rule: i.Rule, Why: reason.New("proof.fault.spelling", "what", i.What, "member", i.Member)}
	}
	return &Fault{Entry: entry, Rule: storage.RuleForm, Why: reason.New("proof.fault.broken", "what", err.Error())}
}
