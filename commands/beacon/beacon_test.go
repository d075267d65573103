package beacon

import (
	"crypto/sha256"
	_ "embed"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"testing"
	"time"
)

// Published parameters and rounds of the chain, with their source, and
// signatures that must not pass.
//
//go:embed testdata/rounds.json
var roundsJSON []byte

type rounds struct {
	Chain struct {
		ID      string `json:"beacon_id"`
		Hash    string `json:"hash"`
		Public  string `json:"public_key"`
		Period  uint32 `json:"period_seconds"`
		Genesis uint64 `json:"genesis_time"`
		Group   string `json:"group_hash"`
	} `json:"chain"`
	Rounds []struct {
		Round      uint64 `json:"round"`
		Signature  string `json:"signature"`
		Randomness string `json:"randomness"`
		Unix       int64  `json:"time_unix"`
	} `json:"rounds"`
	Signatures struct {
		Round    uint64 `json:"round"`
		Good     string `json:"good"`
		MustFail []struct {
			What      string `json:"what"`
			Signature string `json:"signature"`
		} `json:"must_fail"`
	} `json:"signatures"`
}

func vectors(t testing.TB) rounds {
	var v rounds
	if err := json.Unmarshal(roundsJSON, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// The parameters are the published ones, and hash to the chain's name.
func TestQuicknet(t *testing.T) {
	v, c := vectors(t).Chain, Quicknet()
	if c.Hash != v.Hash || c.Public != v.Public || c.Genesis.Unix() != int64(v.Genesis) || c.Period != time.Duration(v.Period)*time.Second {
		t.Errorf("%+v, want %+v", c, v)
	}
	b := binary.BigEndian.AppendUint32(nil, v.Period)
	b = binary.BigEndian.AppendUint64(b, v.Genesis)
	public, _ := hex.DecodeString(c.Public)
	group, _ := hex.DecodeString(v.Group)
	sum := sha256.Sum256(append(append(append(b, public...), group...), v.ID...))
	if got := hex.EncodeToString(sum[:]); got != c.Hash {
		t.Errorf("the parameters hash to %s, want %s", got, c.Hash)
	}
	if k, ok := Known(v.Hash); !ok || k.Hash != v.Hash {
		t.Error("the chain is not known")
	}
	if _, ok := Known("00" + v.Hash[2:]); ok {
		t.Error("a chain that nobody knows is known")
	}
}

func TestRounds(t *testing.T) {
	v, c := vectors(t), Quicknet()
	if len(v.Rounds) != 7 {
		t.Fatalf("%d rounds", len(v.Rounds))
	}
	for i, r := range v.Rounds {
		if got, err := c.Verify(r.Round, r.Signature); err != nil || got != r.Randomness {
			t.Errorf("round %d: %s, %v", r.Round, got, err)
		}
		if c.Due(r.Round).Unix() != r.Unix {
			t.Errorf("round %d is due %v, want %d", r.Round, c.Due(r.Round), r.Unix)
		}
		if i > 0 {
			if _, err := c.Verify(r.Round, v.Rounds[i-1].Signature); !errors.Is(err, ErrSignature) {
				t.Errorf("the signature of round %d passes for round %d: %v", v.Rounds[i-1].Round, r.Round, err)
			}
		}
	}
}

func TestSignaturesThatMustFail(t *testing.T) {
	v, c := vectors(t).Signatures, Quicknet()
	if _, err := c.Verify(v.Round, v.Good); err != nil {
		t.Error(err)
	}
	if len(v.MustFail) != 8 {
		t.Fatalf("%d cases", len(v.MustFail))
	}
	for _, bad := range v.MustFail {
		if got, err := c.Verify(v.Round, bad.Signature); !errors.Is(err, ErrSignature) {
			t.Errorf("%s: passes as %s, %v", bad.What, got, err)
		}
	}
	for _, bad := range []string{"", "zz", v.Good[:94] + "zz"} {
		if _, err := c.Verify(v.Round, bad); !errors.Is(err, ErrSignature) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// A key that is no point of its group, or the identity, is refused at once.
func TestKeysThatMustFail(t *testing.T) {
	good, _ := fromHex(vectors(t).Chain.Public)
	identity := make([]byte, len(good))
	identity[0] = 0xc0
	other := append([]byte{}, good...)
	other[len(other)-1] ^= 1
	for what, raw := range map[string][]byte{
		"nothing": nil, "cut short": good[:95], "a byte more": append(append([]byte{}, good...), 0),
		"the identity": identity, "one bit changed": other,
	} {
		if _, err := newPublicKey(raw); err == nil {
			t.Errorf("%s passes for a key", what)
		}
	}
	if _, err := newPublicKey(good); err != nil {
		t.Error(err)
	}
}

func TestAhead(t *testing.T) {
	c := Quicknet()
	due := c.Due(1000)
	for _, v := range []struct {
		before time.Duration
		ahead  bool
	}{{0, false}, {6*time.Second - time.Millisecond, false}, {6 * time.Second, true}, {15 * time.Second, true}, {15*time.Second + time.Millisecond, false}} {
		if got := c.Ahead(1000, due.Add(-v.before)); got != v.ahead {
			t.Errorf("%v before it is due: %v", v.before, got)
		}
	}
	if c.Ahead(0, c.Genesis) || c.Ahead(1<<63, c.Genesis) || c.Ahead(1<<53, due) {
		t.Error("a round that no clock can name is ahead")
	}
	// The next round is ahead at every moment, is the first such, and lies two past what was seen.
	for ms := range 9000 {
		now := due.Add(time.Duration(ms) * time.Millisecond)
		n := c.Next(now, 0)
		if !c.Ahead(n, now) || c.Ahead(n-1, now) {
			t.Fatalf("at %v round %d is next", now, n)
		}
	}
	if n := c.Next(due, 1005); n != 1007 {
		t.Errorf("round 1005 seen early: %d", n)
	}
	if n := c.Next(c.Genesis.Add(-time.Hour), 0); n != 1 {
		t.Errorf("before the chain: %d", n)
	}
}

func FuzzVerify(f *testing.F) {
	v, c := vectors(f), Quicknet()
	for _, r := range v.Rounds {
		f.Add(r.Round, r.Signature)
	}
	for _, bad := range v.Signatures.MustFail {
		f.Add(v.Signatures.Round, bad.Signature)
	}
	f.Fuzz(func(t *testing.T, round uint64, signature string) {
		if _, err := c.Verify(round, signature); err != nil {
			return
		}
		for _, r := range v.Rounds {
			if r.Round == round && r.Signature == signature {
				return
			}
		}
		t.Fatalf("round %d: %q passes", round, signature)
	})
}

func BenchmarkVerify(b *testing.B) {
	v, c := vectors(b), Quicknet()
	for b.Loop() {
		if _, err := c.Verify(v.Rounds[0].Round, v.Rounds[0].Signature); err != nil {
			b.Fatal(err)
		}
	}
}
