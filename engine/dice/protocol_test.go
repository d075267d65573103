package dice

import (
	"crypto/hmac"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
)

// The figures of this file were made by two programs that share no code with
// this one; the file names its source.
//
//go:embed testdata/protocol.json
var protocolJSON []byte

type draw struct {
	Key  string `json:"key"`
	Draw uint64 `json:"draw"`
	Cut  string `json:"cut"`
}

func (d draw) stream(t testing.TB, ledger string) *Stream {
	return NewStream(ledger, d.Draw, d.Cut, key(t, d.Key))
}

type protocol struct {
	Ledger string `json:"ledger"`
	Seals  []struct {
		Length int            `json:"length"`
		Last   string         `json:"last"`
		Tip    string         `json:"tip"`
		Keys   map[int]string `json:"keys"`
	} `json:"seals"`
	Streams []struct {
		draw
		Blocks []struct {
			Block   uint64 `json:"block"`
			Message string `json:"message"`
			Bytes   string `json:"bytes"`
		} `json:"blocks"`
	} `json:"streams"`
	Faces struct {
		draw
		Cases []struct {
			Sides     int    `json:"sides"`
			Count     int    `json:"count"`
			Faces     []int  `json:"faces"`
			BytesRead uint64 `json:"bytes_read"`
		} `json:"cases"`
	} `json:"faces"`
	Mixed struct {
		draw
		Plan      [][2]int `json:"plan"`
		Faces     [][]int  `json:"faces"`
		BytesRead uint64   `json:"bytes_read"`
	} `json:"mixed"`
	Many struct {
		draw
		Sides     int    `json:"sides"`
		Count     int    `json:"count"`
		Counts    []int  `json:"counts"`
		Hash      string `json:"sha256_of_faces_as_ascii_digits"`
		BytesRead uint64 `json:"bytes_read"`
	} `json:"many"`
	Depends struct {
		draw
		Start int   `json:"start"`
		Faces []int `json:"faces"`
	} `json:"depends"`
	Shuffles []struct {
		draw
		N         int    `json:"n"`
		Order     []int  `json:"order"`
		Hash      string `json:"sha256_of_order_joined_by_commas"`
		BytesRead uint64 `json:"bytes_read"`
	} `json:"shuffles"`
}

func vectors(t testing.TB) protocol {
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

func key(t testing.TB, s string) Key {
	k, err := ParseKey(s)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func sum(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:])
}

func TestSealVectors(t *testing.T) {
	for _, v := range vectors(t).Seals {
		c, err := NewChain(key(t, v.Last), v.Length)
		if err != nil {
			t.Fatal(err)
		}
		if c.Tip().String() != v.Tip || len(v.Keys) == 0 {
			t.Errorf("tip %s, want %s", c.Tip(), v.Tip)
		}
		for i, want := range v.Keys {
			if got := c.Key(i).String(); got != want {
				t.Errorf("key %d of %d: %s, want %s", i, v.Length, got, want)
			}
		}
	}
}

// RFC 4231, 4.2, 4.3, 4.4, 4.7, 4.8: cases 1, 2, 3, 6 and 7 of HMAC-SHA-256,
// the function that a block of dice is made with.
func TestMAC(t *testing.T) {
	for i, v := range []struct{ key, data, want string }{
		{strings.Repeat("0b", 20), "4869205468657265", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"4a656665", "7768617420646f2079612077616e7420666f72206e6f7468696e673f", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
		{strings.Repeat("aa", 20), strings.Repeat("dd", 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
	} {
		k, _ := hex.DecodeString(v.key)
		data, _ := hex.DecodeString(v.data)
		m := hmac.New(sha256.New, k)
		m.Write(data)
		if got := hex.EncodeToString(m.Sum(nil)); got != v.want {
			t.Errorf("case %d: %s, want %s", i+1, got, v.want)
		}
	}
}

func TestStreamVectors(t *testing.T) {
	p := vectors(t)
	for _, v := range p.Streams {
		for _, b := range v.Blocks {
			s := v.stream(t, p.Ledger)
			if got := string(s.mac.inside[blockSize:]) + strconv.FormatUint(b.Block, 10); got != b.Message {
				t.Errorf("message %s, want %s", got, b.Message)
			}
			s.Seek(b.Block * 32)
			var bytes []byte
			for range 32 {
				bytes = append(bytes, s.read())
			}
			if got := hex.EncodeToString(bytes); got != b.Bytes {
				t.Errorf("block %d of %s: %s, want %s", b.Block, v.Cut, got, b.Bytes)
			}
		}
	}
}

func TestFaceVectors(t *testing.T) {
	p := vectors(t)
	for _, v := range p.Faces.Cases {
		s := p.Faces.stream(t, p.Ledger)
		for i, want := range v.Faces {
			if got := s.Draw(v.Sides); got != want {
				t.Errorf("die %d of %d sides: %d, want %d", i, v.Sides, got, want)
			}
		}
		if s.At() != v.BytesRead || s.Drawn() != v.Count {
			t.Errorf("%d sides: %d dice of %d bytes, want %d of %d", v.Sides, s.Drawn(), s.At(), v.Count, v.BytesRead)
		}
	}
}

func TestMixedVectors(t *testing.T) {
	p := vectors(t)
	s := p.Mixed.stream(t, p.Ledger)
	for _, kind := range p.Mixed.Plan {
		for range kind[1] {
			s.Draw(kind[0])
		}
	}
	// Two kinds alike one after the other are one run, so the plan's runs are the recorded ones.
	if got := s.Faces(); !reflect.DeepEqual(got, p.Mixed.Faces) || s.At() != p.Mixed.BytesRead {
		t.Errorf("faces %v after %d bytes, want %v after %d", got, s.At(), p.Mixed.Faces, p.Mixed.BytesRead)
	}
}

func TestManyVectors(t *testing.T) {
	p := vectors(t)
	s := p.Many.stream(t, p.Ledger)
	var digits strings.Builder
	counts := make([]int, p.Many.Sides)
	for range p.Many.Count {
		face := s.Draw(p.Many.Sides)
		counts[face-1]++
		digits.WriteString(strconv.Itoa(face))
	}
	if sum(digits.String()) != p.Many.Hash || !reflect.DeepEqual(counts, p.Many.Counts) || s.At() != p.Many.BytesRead {
		t.Errorf("counts %v after %d bytes, want %v after %d", counts, s.At(), p.Many.Counts, p.Many.BytesRead)
	}
	if s.Left() != 0 {
		t.Fatalf("%d dice left after %d", s.Left(), MostDice)
	}
	if err := Try(func() error { s.Draw(6); return nil }); err != ErrSpent {
		t.Errorf("one die more: %v, want %v", err, ErrSpent)
	}
}

// How many dice are drawn may depend on the faces: one more for every six.
func TestDependsVectors(t *testing.T) {
	p := vectors(t)
	s := p.Depends.stream(t, p.Ledger)
	for n := p.Depends.Start; n > 0; n-- {
		if s.Draw(6) == 6 {
			n++
		}
	}
	if got := s.Faces()[0][1:]; !reflect.DeepEqual(got, p.Depends.Faces) {
		t.Errorf("faces %v, want %v", got, p.Depends.Faces)
	}
}

func TestShuffleVectors(t *testing.T) {
	p := vectors(t)
	for _, v := range p.Shuffles {
		s := v.stream(t, p.Ledger)
		order := make([]int, v.N)
		for i := range order {
			order[i] = i
		}
		Shuffle(s, v.N, func(i, j int) { order[i], order[j] = order[j], order[i] })
		if v.Order != nil && !reflect.DeepEqual(order, v.Order) {
			t.Errorf("order of %d: %v, want %v", v.N, order, v.Order)
		}
		joined := strings.ReplaceAll(strings.Trim(fmt.Sprint(order), "[]"), " ", ",")
		if sum(joined) != v.Hash || s.At() != v.BytesRead {
			t.Errorf("shuffle of %d: %s after %d bytes, want %d", v.N, joined, s.At(), v.BytesRead)
		}
	}
}
