package battle

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"drumhead/engine/reason"
)

// Order is one command of a battle, by whom, and which entry it becomes.
type Order struct {
	Player string // pseudonym, or Bot
	Seq    uint64
	Do     Do
	Opened []Opening // sealed standing orders that may act
}

// Bot is the pseudonym of the bot itself.
const Bot = "bot"

// Opening is a sealed value with its salt (32 hex digits), from the entry Of.
type Opening struct {
	Of    uint64
	Salt  string
	Value []byte // canonical JSON
}

// Do is what a command asks for: one of the types of this file and of offer.go.
type Do interface{ Command() string }

// Begin starts a battle. Forces holds both sides' units in the order of Players.
// Said stands for what people call the units, which lies beside the entry.
type Begin struct {
	Forces  [][]Model `json:"forces"`
	Offer   OfferRef  `json:"offer"`
	Players []string  `json:"players"`
	Said    string    `json:"said,omitempty"`
	Terms   Terms     `json:"terms"`
}

// OfferRef names the entry of an offer: its ledger, number and leaf hash.
type OfferRef struct {
	Leaf   string `json:"leaf"`
	Ledger string `json:"ledger"`
	Seq    uint64 `json:"seq"`
}

// Terms is what two players agree on. Points is what each force may cost,
// Hours the clock of one handover, Dice how the dice are cut: by nobody ("",
// sealed), by the public beacon, or by the other's word.
type Terms struct {
	Campaign string `json:"campaign,omitempty"`
	Dice     string `json:"dice,omitempty"`
	Edition  int    `json:"edition"` // of the pack
	Hours    int    `json:"hours"`
	Pack     string `json:"pack"` // id
	Points   int    `json:"points"`
	Region   string `json:"region,omitempty"` // of a campaign, at stake
	Scenario string `json:"scenario"`
	SHA256   string `json:"sha256"` // of its bytes, 64 hex digits
	Turns    int    `json:"turns"`
}

// Model is one unit as it comes to a battle: how many models of which kind, and
// its grade of experience.
type Model struct {
	Grade string `json:"grade,omitempty"`
	Key   string `json:"key"`
	Kind  string `json:"kind"`
	Size  int    `json:"size"`
}

// Sheet is a turn's orders, or a part of them.
type Sheet struct {
	Battle uint64 `json:"battle"`
	Orders []Line `json:"orders"`
}

// Ahead seals a standing order: Said stands for its value and salt.
type Ahead struct {
	Battle uint64 `json:"battle"`
	Said   string `json:"said"`
}

// Finish proposes to end the battle as it stands.
type Finish struct {
	Battle uint64 `json:"battle"`
}

// Play plays on: it answers the other's proposal to end the battle with no, or
// takes one's own back.
type Play struct {
	Battle uint64 `json:"battle"`
}

// Agree agrees to the proposal, or to the result; by the bot it is time that
// has passed without an objection.
type Agree struct {
	Battle uint64 `json:"battle"`
}

// Dispute objects to the result, which then no longer stands by itself. What
// about is in words, which stay outside: Said is their hash, or empty.
type Dispute struct {
	Battle uint64 `json:"battle"`
	Said   string `json:"said,omitempty"`
}

// Concede gives the battle away.
type Concede struct {
	Battle uint64 `json:"battle"`
}

// Pass is for the one who waits, when the other's time is up: the other's
// units hold and the turn ends.
type Pass struct {
	Battle uint64 `json:"battle"`
}

// The commands of a battle, as entries name them.
const (
	CommandBegin   = "battle.begin"
	CommandOrder   = "order"
	CommandAhead   = "battle.ahead"
	CommandFinish  = "battle.finish"
	CommandPlay    = "battle.play"
	CommandAgree   = "battle.agree"
	CommandDispute = "battle.dispute"
	CommandConcede = "battle.concede"
	CommandPass    = "battle.pass"
)

// Command names the command as entries do.
func (Begin) Command() string { return CommandBegin }

// Command names the command as entries do.
func (Sheet) Command() string { return CommandOrder }

// Command names the command as entries do.
func (Ahead) Command() string { return CommandAhead }

// Command names the command as entries do.
func (Finish) Command() string { return CommandFinish }

// Command names the command as entries do.
func (Play) Command() string { return CommandPlay }

// Command names the command as entries do.
func (Agree) Command() string { return CommandAgree }

// Command names the command as entries do.
func (Dispute) Command() string { return CommandDispute }

// Command names the command as entries do.
func (Concede) Command() string { return CommandConcede }

// Command names the command as entries do.
func (Pass) Command() string { return CommandPass }

// ParseDo reads a command's args, strictly: unknown and repeated members,
// another order of members, and anything but ids and numbers are refused.
func ParseDo(command string, args []byte) (Do, error) {
	switch command {
	case CommandBegin:
		return parse[Begin](args)
	case CommandOrder:
		return parse[Sheet](args)
	case CommandAhead:
		return parse[Ahead](args)
	case CommandFinish:
		return parse[Finish](args)
	case CommandPlay:
		return parse[Play](args)
	case CommandAgree:
		return parse[Agree](args)
	case CommandDispute:
		return parse[Dispute](args)
	case CommandConcede:
		return parse[Concede](args)
	case CommandPass:
		return parse[Pass](args)
	case CommandLate:
		return parse[Late](args)
	case CommandMore:
		return parse[More](args)
	case CommandUndo:
		return parse[Undo](args)
	case CommandKeep:
		return parse[Keep](args)
	case CommandOpen:
		return parse[Offer](args)
	case CommandDecline:
		return parse[Decline](args)
	}
	return nil, fmt.Errorf("battle: command %q is none of a battle", command)
}

// parse reads one spelling of a value and no other.
func parse[T Do](args []byte) (Do, error) {
	var v T
	d := json.NewDecoder(bytes.NewReader(args))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		return nil, fmt.Errorf("battle: args of %s: %w", v.Command(), err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("battle: args of %s: something follows the object", v.Command())
	}
	again, err := canonical(v)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, args) {
		return nil, fmt.Errorf("battle: args of %s: not their one spelling", v.Command())
	}
	if !ascii(args) {
		return nil, fmt.Errorf("battle: args of %s: ids and numbers only", v.Command())
	}
	return v, nil
}

// MarshalDo writes a command's args as ParseDo reads them.
func MarshalDo(do Do) ([]byte, error) { return canonical(do) }

// canonical writes a value as RFC 8785 does, for what entries may hold: whole
// numbers, printable ASCII, members sorted.
func canonical(v any) ([]byte, error) {
	plain, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	var tree any
	d := json.NewDecoder(bytes.NewReader(plain))
	d.UseNumber()
	if err := d.Decode(&tree); err != nil {
		return nil, err
	}
	if hasNull(tree) {
		return nil, fmt.Errorf("battle: null has no place in an entry")
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(tree); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}

// hasNull finds what an entry cannot hold.
func hasNull(tree any) bool {
	switch v := tree.(type) {
	case nil:
		return true
	case []any:
		return slices.ContainsFunc(v, hasNull)
	case map[string]any:
		for _, member := range v {
			if hasNull(member) {
				return true
			}
		}
	}
	return false
}

// ascii tells whether a text is printable ASCII.
func ascii(b []byte) bool {
	return !bytes.ContainsFunc(b, func(r rune) bool { return r < ' ' || r > '~' })
}

// isHash tells whether a text is 64 lower-case hex digits.
func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

// refuse makes a refusal without an example.
func refuse(id string, pairs ...any) *reason.Refusal { return reason.Refuse("", id, pairs...) }
