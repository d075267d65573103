package proof

import (
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"drumhead/storage"
)

// The protocol's vectors: made by a program in another language, reproduced by
// a second one that shares no code with this; the file names its source.
//
//go:embed testdata/dice-protocol.json
var protocolJSON []byte

type protocol struct {
	Ledger string `json:"ledger"`
	Words  []struct {
		Typed string `json:"typed"`
		Bytes string `json:"bytes"`
		Cut   string `json:"cut"`
	} `json:"words"`
	TestKey struct {
		Seed string `json:"seed"`
		VKey string `json:"vkey"`
	} `json:"test_key"`
	Book struct {
		Lines      []string          `json:"lines"`
		LeafHashes []string          `json:"leaf_hashes"`
		Codes      map[uint64]string `json:"codes"`
		Roots      map[int]string    `json:"roots"`
		Checkpoint string            `json:"checkpoint"`
		At11       string            `json:"checkpoint_at_11"`
		Remarks    []string          `json:"remarks"`
		Seal1      sealVector        `json:"keys_seal_1"`
		Seal2      sealVector        `json:"keys_seal_2"`
	} `json:"book"`
	Proof struct {
		Of      uint64 `json:"of"`
		File    string `json:"file"`
		Pending struct {
			Of   uint64 `json:"of"`
			File string `json:"file"`
		} `json:"pending"`
		Tampered []struct {
			What     string   `json:"what"`
			Replace  []string `json:"replace"`
			DropLine int      `json:"drop_line"`
		} `json:"tampered"`
	} `json:"proof"`
	Tampered struct {
		Cases []tampering `json:"cases"`
	} `json:"tampered"`
	Fork  tampering `json:"fork"`
	Small []struct {
		What       string      `json:"what"`
		Lines      []string    `json:"lines"`
		Checkpoint string      `json:"checkpoint"`
		Tampered   []tampering `json:"tampered"`
	} `json:"small_books"`
	Windows struct {
		Ledger string                       `json:"ledger"`
		Base   []map[string]json.RawMessage `json:"base"`
		Filler map[string]json.RawMessage   `json:"filler"`
		Cases  []struct {
			What   string                       `json:"what"`
			Filler int                          `json:"filler"`
			Tail   []map[string]json.RawMessage `json:"tail"`
			Last   int64                        `json:"last"`
			Rule   string                       `json:"rule"`
			Root   string                       `json:"root"`
		} `json:"cases"`
	} `json:"windows"`
}

type sealVector struct {
	Last   string `json:"last"`
	Length int    `json:"length"`
}

// tampering is what was done to a ledger, and the rule that must notice it.
type tampering struct {
	What       string               `json:"what"`
	Replace    [][3]json.RawMessage `json:"replace"`
	Drop       []int                `json:"drop"`
	Swap       []int                `json:"swap"`
	Insert     [][2]json.RawMessage `json:"insert"`
	CutTo      int                  `json:"cut_to"`
	Renumber   bool                 `json:"renumber"`
	Rehash     bool                 `json:"rehash"`
	Checkpoint string               `json:"checkpoint"`
	Rule       string               `json:"rule"`
	Entry      *int64               `json:"entry"`
}

func protocolVectors(t testing.TB) protocol {
	t.Helper()
	var p protocol
	file := protocolJSON
	if name := os.Getenv("DICE_VECTORS"); name != "" { // somebody else's, of the same shape
		var err error
		if file, err = os.ReadFile(name); err != nil {
			t.Fatal(err)
		}
	}
	if err := json.Unmarshal(file, &p); err != nil {
		t.Fatal(err)
	}
	return p
}

func read[T any](t testing.TB, raw json.RawMessage) (v T) {
	t.Helper()
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func bytesOf(lines []string) [][]byte {
	b := make([][]byte, len(lines))
	for i, l := range lines {
		b[i] = []byte(l)
	}
	return b
}

// apply does to lines what was done, in the order that the vectors name.
func (c tampering) apply(t testing.TB, lines []string) []string {
	t.Helper()
	lines = append([]string(nil), lines...)
	for _, r := range c.Replace {
		i, old, now := read[int](t, r[0]), read[string](t, r[1]), read[string](t, r[2])
		if !strings.Contains(lines[i], old) {
			t.Fatalf("%s: nothing to replace in line %d", c.What, i)
		}
		lines[i] = strings.Replace(lines[i], old, now, 1)
	}
	for _, i := range c.Drop {
		lines = append(lines[:i:i], lines[i+1:]...)
	}
	if len(c.Swap) == 2 {
		i, j := c.Swap[0], c.Swap[1]
		lines[i], lines[j] = lines[j], lines[i]
	}
	for _, in := range c.Insert {
		i := read[int](t, in[0])
		lines = append(lines[:i:i], append([]string{read[string](t, in[1])}, lines[i:]...)...)
	}
	if c.CutTo > 0 {
		lines = lines[:c.CutTo]
	}
	if c.Renumber || c.Rehash {
		remake(t, lines, c.Renumber, c.Rehash)
	}
	return lines
}

// remake numbers entries and hashes heads anew, as a tamperer would. What is no
// JSON at all is left as it is.
func remake(t testing.TB, lines []string, renumber, rehash bool) {
	t.Helper()
	for i := range lines {
		d := json.NewDecoder(strings.NewReader(lines[i]))
		d.UseNumber()
		var m map[string]any
		if err := d.Decode(&m); err != nil {
			t.Fatal(err)
		}
		if renumber {
			m["seq"] = i
		}
		if rehash && i > 0 {
			m["head"] = storage.LeafHash([]byte(lines[i-1])).String()
		}
		b, err := storage.Canon(m)
		if err != nil {
			t.Fatal(err)
		}
		lines[i] = string(b)
	}
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
