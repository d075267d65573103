package storage

import (
	"encoding/json"
	"time"
)

// Bot is the player of what the bot does by itself.
const Bot = "bot"

// Limits of an entry's members.
const (
	MostDice    = 10_000 // dice of one entry
	MostSides   = 65_536 // sides of one die
	LongestSeal = 65_536 // keys of one seal
)

// Object is a JSON object in canonical form.
type Object = json.RawMessage

// Record is one entry, parsed: the members of design page dice, *Entry*. A
// member that is absent has its zero value (Cut "", Faces nil, …).
type Record struct {
	Ledger  LedgerID
	Seq     uint64
	Head    Hash
	Time    time.Time // UTC, whole milliseconds
	Player  string    // "p1", …, or "bot"
	Source  string    // 32 hex digits, or ""
	Command string
	Args    Object // nil is written as {}
	Seal    string // hex tip of the seal drawn from
	Draw    uint64 // 1, 2, …; 0 for none
	Wait    *Wait
	Cut     string
	Key     string
	Faces   [][]int // runs: sides, then faces; an empty, non-nil slice is []
	Again   *Again
	Events  []Object // nil is absent, an empty, non-nil slice is []
}

// Wait makes an entry pending: for a round of the beacon, or for a player's word.
type Wait struct {
	Round uint64
	By    string
	Until time.Time
}

// Again says whose dice stand again: those of entry Of, after its first After.
type Again struct {
	Of    uint64
	After int
}
