package proof

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"strings"
	"time"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Command is one accepted command as the rules see it: nothing but the entry's
// own members. What was known only outside the ledger already stands in Args.
type Command struct {
	Seq    uint64
	Time   time.Time
	Player string // pseudonym, or "bot"
	Name   string // words joined by dots
	Args   storage.Object
	Opened []Opened // sealed values that may act in this entry
	Fell   [][]int  // the dice that fell, for Apply; none yet when it is decided
}

// Opened is a sealed value brought into the open: entry Of said its hash.
type Opened struct {
	Of    uint64
	Salt  string // 32 hex digits
	Value storage.Object
}

// Said is what stands in an entry for words that lie beside it: the hex SHA-256
// of the salt and the text (design page dice, *Entry*).
func Said(salt []byte, text string) string {
	h := sha256.New()
	h.Write(salt)
	h.Write([]byte(text))
	return hex.EncodeToString(h.Sum(nil))
}

// Files gives the bytes of a pinned pack or campaign file by its SHA-256 in hex.
type Files func(hash string) ([]byte, bool)

// Game is everything that a ledger has come to: the fold over its entries. It
// is a value; Apply returns the next one and leaves the old as it was.
type Game struct {
	Size     uint64
	Practice bool
	Rooms    map[string]any     // state of each room by its name; a room's state is a value too
	Waiting  map[uint64]Waiting // by its entry, what waits for a cut of its own
	files    Files
}

// NewGame is the game before the first entry.
func NewGame(files Files) Game { return Game{files: files, Rooms: map[string]any{}} }

// File returns a pinned file, or an error that names it.
func (g Game) File(hash string) ([]byte, error) {
	if g.files != nil {
		if b, ok := g.files(hash); ok {
			return b, nil
		}
	}
	return nil, &MissingFile{Hash: hash}
}

// MissingFile says that rules cannot be replayed without a file.
type MissingFile struct{ Hash string }

func (m *MissingFile) Error() string { return "pinned file " + m.Hash + ".toml is not there" }

// Room plays one part of the game: dice rolls, battles, the campaign. All rooms
// are pure. Decide makes the events of a command, reading only the state, the
// command and the dice; Apply folds an entry's events into the room's state.
type Room interface {
	Name() string
	Owns(command string) bool
	// Check refuses what Decide would refuse, without a die, and tells whether
	// the command may roll.
	Check(g Game, c Command) (mayRoll bool, err error)
	Decide(g Game, c Command, d dice.Drawer) ([]storage.Object, error)
	Apply(g Game, c Command, events []storage.Object) (any, error)
}

// room finds who plays a command; nil for what the ledger itself does (seals,
// cuts) and for words that change no state.
func room(command string) (Room, error) {
	for _, r := range rooms {
		if r.Owns(command) {
			return r, nil
		}
	}
	if quiet(command) {
		return nil, nil
	}
	return nil, fmt.Errorf("command %q is not known to this version", command)
}

// quiet tells whether a command belongs to the ledger alone.
func quiet(command string) bool {
	switch command {
	case "ledger.open", "seal.open", "seal.cut", "cut", "wait", "void", "tell":
		return true
	}
	return false
}

// Check refuses what cannot be done now, and tells whether it may roll.
func (g Game) Check(c Command) (mayRoll bool, err error) {
	r, err := room(c.Name)
	if err != nil || r == nil {
		return false, err
	}
	return r.Check(g, c)
}

// Decide gives the events of a command. It reads and never changes.
func (g Game) Decide(c Command, d dice.Drawer) ([]storage.Object, error) {
	r, err := room(c.Name)
	if err != nil || r == nil {
		return nil, err
	}
	return r.Decide(g, c, d)
}

// Apply folds one entry's events.
func (g Game) Apply(c Command, events []storage.Object) (Game, error) {
	next := g
	next.Size = c.Seq + 1
	r, err := room(c.Name)
	if err != nil {
		return g, err
	}
	if c.Name == "ledger.open" {
		var a struct {
			Practice bool `json:"practice"`
		}
		if err := json.Unmarshal(c.Args, &a); err != nil {
			return g, err
		}
		next.Practice = a.Practice
	}
	if r == nil {
		return next, nil
	}
	state, err := r.Apply(g, c, events)
	if err != nil {
		return g, err
	}
	next.Rooms = maps.Clone(g.Rooms)
	next.Rooms[r.Name()] = state
	return next, nil
}

// CommandOf is the command that an entry records. The opened values are those
// of its own events: a replay takes them as input and Check has tested them.
func CommandOf(rec storage.Record) (Command, error) {
	c := Command{Seq: rec.Seq, Time: rec.Time, Player: rec.Player, Name: rec.Command, Args: rec.Args, Fell: rec.Faces}
	for _, e := range rec.Events {
		if !strings.Contains(string(e), `"type":"opened"`) {
			continue
		}
		var o struct {
			Type  string         `json:"type"`
			Of    uint64         `json:"of"`
			Salt  string         `json:"salt"`
			Value storage.Object `json:"value"`
		}
		if err := json.Unmarshal(e, &o); err != nil {
			return c, err
		}
		if o.Type == "opened" {
			c.Opened = append(c.Opened, Opened{Of: o.Of, Salt: o.Salt, Value: o.Value})
		}
	}
	return c, nil
}

// NoCut is the cut of a draw whose seal was never cut: there is no beacon.
const NoCut = "none"

// rooms is every room of the house, asked in this order.
var rooms = []Room{Rolling{}, Battling{}, Campaigning{}}
