package storage

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
)

//go:embed testdata/canon.json
var canonJSON []byte

type canonVectors struct {
	Vectors []struct {
		Name      string `json:"name"`
		Input     string `json:"input"`
		Canonical string `json:"canonical"`
	} `json:"vectors"`
	Numbers []struct {
		JSON string `json:"json"`
		Hex  string `json:"ieee754_hex"`
	} `json:"numbers"`
	Documents []struct {
		Input     string `json:"input"`
		Canonical string `json:"canonical"`
	} `json:"documents"`
}

func canonCases(t testing.TB) canonVectors {
	var v canonVectors
	if err := json.Unmarshal(canonJSON, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// Python's json module writes documents of our profile in the canonical form
// of RFC 8785: Canon must give the same bytes from any other spelling.
func TestCanonDocuments(t *testing.T) {
	v := canonCases(t)
	if len(v.Documents) < 100 {
		t.Fatalf("%d documents", len(v.Documents))
	}
	for _, d := range v.Documents {
		for _, in := range []string{d.Input, d.Canonical} {
			got, err := Canon(json.RawMessage(in))
			if err != nil || string(got) != d.Canonical {
				t.Fatalf("%v\ngot  %s\nwant %s", err, got, d.Canonical)
			}
		}
		if err := Canonical([]byte(d.Canonical)); err != nil {
			t.Fatalf("%s: %v", d.Canonical, err)
		}
		var tree any
		if err := json.Unmarshal([]byte(d.Canonical), &tree); err != nil {
			t.Fatal(err)
		}
		if strings.ContainsAny(d.Canonical, "0123456789") {
			continue // encoding/json makes floats of numbers, which Canon refuses
		}
		if got, err := Canon(tree); err != nil || string(got) != d.Canonical {
			t.Fatalf("%v\ngot  %s\nwant %s", err, got, d.Canonical)
		}
	}
}

// RFC 8785 allows more than the profile of an entry: its own vectors hold
// floats, null, control letters and letters beyond ASCII, or other names. All
// must be refused, in both spellings.
func TestCanonProfile(t *testing.T) {
	v := canonCases(t)
	if len(v.Vectors) != 8 {
		t.Fatalf("%d vectors", len(v.Vectors))
	}
	for _, c := range v.Vectors {
		for _, in := range []string{c.Input, c.Canonical} {
			if got, err := Canon(json.RawMessage(in)); rule(err) != RuleJSON {
				t.Errorf("%s: %s, %v", c.Name, got, err)
			}
		}
		if err := Canonical([]byte(c.Canonical)); rule(err) != RuleJSON {
			t.Errorf("%s: %v", c.Name, err)
		}
	}
}

// RFC 8785 Appendix B: numbers in their canonical spelling. Those of our
// profile are whole and within 2^53-1; all others are refused.
func TestCanonNumbers(t *testing.T) {
	v := canonCases(t)
	taken := 0
	for _, n := range v.Numbers {
		var f float64
		if err := json.Unmarshal([]byte(n.JSON), &f); err != nil {
			t.Fatal(err)
		}
		fits := f == math.Trunc(f) && math.Abs(f) <= MaxNumber
		if got, err := Canon(json.Number(n.JSON)); (err == nil) != fits || fits && string(got) != n.JSON {
			t.Errorf("%s: %s, %v", n.JSON, got, err)
		}
		if err := Canonical([]byte(n.JSON)); (err == nil) != fits {
			t.Errorf("%s: %v", n.JSON, err)
		}
		if fits {
			taken++
		}
	}
	if taken == 0 || taken == len(v.Numbers) {
		t.Errorf("%d of %d numbers taken", taken, len(v.Numbers))
	}
}

func TestCanonValues(t *testing.T) {
	type inner struct {
		Keep int `json:"keep"`
	}
	type sheet struct {
		inner
		Unit  string            `json:"unit"`
		At    *string           `json:"at,omitempty"`
		Dice  []int             `json:"dice"`
		Terms map[string]string `json:"terms,omitempty"`
		Round uint64            `json:"round,omitzero"`
		Raw   json.RawMessage   `json:"raw,omitempty"`
		Local func()            `json:"-"`
	}
	at := "u9"
	for _, c := range []struct {
		v    any
		want string
	}{
		{sheet{Unit: "u3"}, `{"dice":[],"keep":0,"unit":"u3"}`},
		{&sheet{inner: inner{2}, Unit: `a"b\c<&>`, At: &at, Dice: []int{6, 1}, Round: 7, Raw: json.RawMessage(`{"b":1, "a":[ ]}`)},
			`{"at":"u9","dice":[6,1],"keep":2,"raw":{"a":[],"b":1},"round":7,"unit":"a\"b\\c<&>"}`},
		{map[string]any{"b": true, "a": []any{int8(-1), "x", map[string]int(nil)}}, `{"a":[-1,"x",{}],"b":true}`},
		{[]sheet(nil), `[]`},
		{uint64(MaxNumber), `9007199254740991`},
		{pseudonym("p1"), `"p1"`},
	} {
		if got, err := Canon(c.v); err != nil || string(got) != c.want {
			t.Errorf("%+v: %v\ngot  %s\nwant %s", c.v, err, got, c.want)
		}
	}
	for _, bad := range []any{
		nil, 1.0, float32(2), []any{nil}, (*sheet)(nil), "é", "a\nb", "\x7f", int64(MaxNumber + 1), int64(-MaxNumber - 1), uint64(MaxNumber + 1),
		map[string]int{"A": 1}, map[string]int{"": 1}, map[string]int{"_a": 1}, map[string]int{"9a": 1}, map[string]int{"a-b": 1}, map[int]int{1: 1},
		struct{ Unit int }{}, []byte("ab"), func() {}, make(chan int), complex(1, 1),
		json.RawMessage(`1.0`), json.RawMessage(`1e0`), json.RawMessage(`-0`), json.RawMessage(`null`), json.RawMessage(`{"a":1}{}`), json.RawMessage(``),
		json.RawMessage(nested(MaxDepth + 1)), json.RawMessage(" " + nested(MaxDepth+1)),
	} {
		if got, err := Canon(bad); rule(err) != RuleJSON {
			t.Errorf("%#v: %s, %v", bad, got, err)
		}
	}
	if _, err := Canon(map[string]any{"orders": []any{1, map[string]any{"unit": 1.5}}}); err == nil || !strings.Contains(err.Error(), "orders.1.unit") {
		t.Errorf("%v does not say where", err)
	}
}

// pseudonym is a type of its own over a text.
type pseudonym string

func TestTimes(t *testing.T) {
	want := time.Date(2026, 10, 24, 18, 0, 0, 5_000_000, time.UTC)
	if got, err := ParseTime(FormatTime(want)); err != nil || !got.Equal(want) {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"", "2026-10-24", "2026-10-24T18:00:00Z", "2026-10-24t18:00:00.000Z", "2026-10-24T18:00:00.000+00:00", "2026-02-30T18:00:00.000Z", "2026-10-24T24:00:00.000Z"} {
		if got, err := ParseTime(bad); rule(err) != RuleTime {
			t.Errorf("%q: %v, %v", bad, got, err)
		}
	}
}

// FuzzCanon: what Canonical takes, Canon gives back; what Canon makes, Canonical
// takes; and encoding/json reads the same value from both.
func FuzzCanon(f *testing.F) {
	for _, d := range canonCases(f).Documents {
		f.Add([]byte(d.Input))
		f.Add([]byte(d.Canonical))
	}
	for _, v := range canonCases(f).Vectors {
		f.Add([]byte(v.Input))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := Canon(json.RawMessage(b))
		if Canonical(b) == nil && (err != nil || string(got) != string(b)) {
			t.Fatalf("canonical, but %s, %v", got, err)
		}
		if err != nil {
			return
		}
		if err := Canonical(got); err != nil {
			t.Fatalf("%s: %v", got, err)
		}
		var in, out any
		if err := json.Unmarshal(b, &in); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(got, &out); err != nil {
			t.Fatal(err)
		}
		x, _ := json.Marshal(in)
		y, _ := json.Marshal(out)
		if string(x) != string(y) {
			t.Fatalf("%s became %s", x, y)
		}
	})
}

// TestPlain: where a text ends, eight bytes at a time, as byte by byte: every byte at
// every place, among bytes next to every border.
func TestPlain(t *testing.T) {
	slow := func(b []byte) int {
		for i, c := range b {
			if c == '"' || c == '\\' || c < 0x20 || c > 0x7e {
				return i
			}
		}
		return len(b)
	}
	for _, around := range []byte{' ', '!', '#', '[', ']', '~', 'a'} {
		for n := range 20 {
			for at := range n {
				for c := range 256 {
					b := bytes.Repeat([]byte{around}, n)
					b[at] = byte(c)
					if at > 0 && c == 0xff { // carries into the byte above
						b[at-1] = 0xff
					}
					if got, want := plain(b), slow(b); got != want {
						t.Fatalf("%q: %d, want %d", b, got, want)
					}
				}
			}
		}
	}
}
