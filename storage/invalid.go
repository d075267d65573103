package storage

import "fmt"

// Rules of the form of an entry that can be broken. A verifier has more; these
// are those that the bytes of one entry can break by themselves.
const (
	RuleJSON   = "json"   // the canonical form
	RuleForm   = "form"   // members and what goes together
	RuleTime   = "time"   // the spelling of a time
	RuleFaces  = "faces"  // the spelling of the dice
	RuleKey    = "key"    // the spelling of a key
	RuleCut    = "cut"    // the spelling of a cut
	RuleDraw   = "draw"   // the number of a draw
	RuleSeal   = "seal"   // the spelling of a seal's tip
	RuleSource = "source" // the spelling of a source
	RuleSeq    = "seq"    // the number of an entry
	RuleHead   = "head"   // the spelling of a head
	RuleLedger = "ledger" // the spelling of a ledger's id
)

// Invalid is the error for bytes, or a Record, that are no valid entry.
type Invalid struct {
	Rule   string // one of the rules above
	Member string // the member it is about, or ""
	What   string // what was wrong and what was expected, for logs
}

func (e *Invalid) Error() string {
	if e.Member == "" {
		return fmt.Sprintf("entry: %s: %s", e.Rule, e.What)
	}
	return fmt.Sprintf("entry: %s: %q: %s", e.Rule, e.Member, e.What)
}

func invalid(rule, member, what string, args ...any) error {
	return &Invalid{Rule: rule, Member: member, What: fmt.Sprintf(what, args...)}
}
