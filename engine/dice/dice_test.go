package dice

import (
	"errors"
	"reflect"
	"testing"
)

// A key found from the nearest anchor is the key found by walking the chain,
// at every place and for lengths around the anchors' distance.
func TestAnchors(t *testing.T) {
	for _, length := range []int{1, 2, 63, 64, 65, 127, 128, 129, 200} {
		last := Key{7, byte(length)}
		c, err := NewChain(last, length)
		if err != nil {
			t.Fatal(err)
		}
		for i, want := length, last; i >= 0; i, want = i-1, want.Before() {
			first, run := c.Run(i)
			if run[i-first] != want {
				t.Fatalf("key %d of %d in the run from %d differs", i, length, first)
			}
			if c.Key(i) != want {
				t.Fatalf("key %d of %d differs from the one hashed step by step", i, length)
			}
		}
	}
	for _, length := range []int{-1, 0, LongestSeal + 1} {
		if _, err := NewChain(Key{}, length); err == nil {
			t.Errorf("a seal of %d keys was made", length)
		}
	}
}

func TestParseKey(t *testing.T) {
	good := Key{0xab, 31: 0xcd}.String()
	if k, err := ParseKey(good); err != nil || k.String() != good {
		t.Fatalf("%s: %v", good, err)
	}
	for _, bad := range []string{"", good[1:], good + "0", "AB" + good[2:], "g" + good[1:]} {
		if _, err := ParseKey(bad); err == nil {
			t.Errorf("key %q was read", bad)
		}
	}
}

// Skipping recorded dice leaves the stream where drawing them did.
func TestSkip(t *testing.T) {
	whole, rest := NewStream("l", 1, "none", Key{1}), NewStream("l", 1, "none", Key{1})
	plan := []int{6, 6, 1000, 100, 100, 3, 6, 6, 2, 65_536, 20, 6}
	for _, sides := range plan {
		whole.Draw(sides)
	}
	first, ok := RunsOf(whole.Faces()).First(7)
	if !ok || first.Count() != 7 {
		t.Fatalf("the first 7 dice are %v", first)
	}
	rest.Skip(first)
	for _, sides := range plan[7:] {
		rest.Draw(sides)
	}
	if got, want := rest.Faces(), [][]int{{6, 0}, {2, 0}, {65_536, 0}, {20, 0}, {6, 0}}; len(got) != len(want) || rest.At() != whole.At() {
		t.Fatalf("after skipping 7: %v at byte %d, drawing ends at %d", got, rest.At(), whole.At())
	}
	all := whole.Faces()
	if !reflect.DeepEqual(rest.Faces()[1:], all[len(all)-4:]) {
		t.Errorf("after skipping 7: %v, drawn: %v", rest.Faces(), all)
	}
	again := NewStream("l", 1, "none", Key{1})
	again.Seek(rest.At())
	if a, b := again.Draw(65_536), rest.Draw(65_536); a != b {
		t.Errorf("after Seek %d, without %d", a, b)
	}
	if _, ok := RunsOf(all).First(len(plan) + 1); ok {
		t.Error("more dice than there are were found")
	}
}

func TestShown(t *testing.T) {
	faces := [][]int{{6, 4, 1, 6}, {3, 2}}
	replay := func(sides ...int) (drawn []int, err error) {
		s := NewShown(faces)
		err = Try(func() error {
			for _, n := range sides {
				drawn = append(drawn, s.Draw(n))
			}
			return s.Done()
		})
		return drawn, err
	}
	if got, err := replay(6, 6, 6, 3); err != nil || !reflect.DeepEqual(got, []int{4, 1, 6, 2}) {
		t.Errorf("replayed %v, %v", got, err)
	}
	for _, v := range []struct {
		sides []int
		want  Mismatch
	}{
		{[]int{6, 6, 6}, Mismatch{Die: 3, Recorded: 3}},
		{[]int{6, 6, 3}, Mismatch{Die: 2, Asked: 3, Recorded: 6}},
		{[]int{6, 6, 6, 3, 6}, Mismatch{Die: 4, Asked: 6}},
	} {
		_, err := replay(v.sides...)
		var m *Mismatch
		if !errors.As(err, &m) || *m != v.want {
			t.Errorf("asked for %v: %v, want %v", v.sides, err, &v.want)
		}
	}
	if faces := NewStream("l", 1, "none", Key{}).Faces(); faces == nil || len(faces) != 0 {
		t.Errorf("no dice are %v, want an empty list", faces)
	}
}

func TestWrongSides(t *testing.T) {
	for _, sides := range []int{-1, 0, 1, MostSides + 1} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("a die of %d sides was rolled", sides)
				}
			}()
			NewStream("l", 1, "none", Key{}).Draw(sides)
		}()
	}
}

// A die costs a 32nd of a block: drawing must not add to the memory in use but
// for the list of faces.
func TestDrawAllocates(t *testing.T) {
	s := NewStream("l", 1, "none", Key{})
	s.Draw(6)
	s.faces = append(make([]uint16, 0, 4096), s.faces...)
	if n := testing.AllocsPerRun(1000, func() { s.Draw(6) }); n != 0 {
		t.Errorf("%v allocations a die", n)
	}
}

// FuzzAgain: wherever a stream is cut in two, its parts make the whole.
func FuzzAgain(f *testing.F) {
	f.Add([]byte{5, 5, 2, 99, 255}, 3)
	f.Add([]byte{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, 0)
	f.Fuzz(func(t *testing.T, kinds []byte, after int) {
		if len(kinds) > 400 || after < 0 || after > len(kinds) {
			return
		}
		s := NewStream("l", 9, "none", Key{3})
		for _, k := range kinds {
			s.Draw(2 + 13*int(k))
		}
		first, ok := RunsOf(s.Faces()).First(after)
		if !ok {
			t.Fatalf("the first %d of %d dice are not there", after, len(kinds))
		}
		rest := NewStream("l", 9, "none", Key{3})
		rest.Skip(first)
		shown := NewShown(s.Faces())
		for i, k := range kinds {
			want := shown.Draw(2 + 13*int(k))
			if i >= after && rest.Draw(2+13*int(k)) != want {
				t.Fatalf("die %d differs after skipping %d", i, after)
			}
		}
		if err := shown.Done(); err != nil || rest.At() != s.At() {
			t.Fatalf("%v; ends at %d and %d", err, rest.At(), s.At())
		}
	})
}

// BenchmarkRoll is a sealed roll of 40 dice as the desk makes it: the key from
// the chain, its stream, the faces. BenchmarkRollFloor is what it cannot do
// without: 32 hashes for the key and two blocks.
func BenchmarkRoll(b *testing.B) {
	c, err := NewChain(Key{1}, 4096)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		n := 1 + i%4096
		s := NewStream("txhm4tipfgw62v56fpyqwsnza4", uint64(n), "none", c.Key(n))
		for range 40 {
			s.Draw(6)
		}
		s.Faces()
	}
}

func BenchmarkRollFloor(b *testing.B) {
	for b.Loop() {
		k := Key{1}
		for range 32 + 2*4 {
			k = k.Before()
		}
	}
}

func BenchmarkDie(b *testing.B) {
	s := NewStream("l", 1, "none", Key{})
	b.ReportAllocs()
	for b.Loop() {
		s.die(6)
	}
}
