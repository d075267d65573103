package picture

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// TestRefused: what cannot be drawn is said, with what was wrong.
func TestRefused(t *testing.T) {
	for _, c := range []struct{ kind, value, says string }{
		{"table", `{}`, "there are dice, luck"},
		{"dice", `{"alt":"x","throws":[]}`, "0 throws"},
		{"dice", `{"alt":"x","throws":[{"sides":6,"good":{"number":"1","word":"hit","faces":[7]},"rest":{"number":"0","word":"","faces":[]}}]}`, "shows 7 on a die of 6"},
		{"dice", `{"alt":"x","throws":[{"sides":1,"good":{"number":"","word":"","faces":[]},"rest":{"number":"","word":"","faces":[]}}]}`, "1 sides"},
		{"dice", `{"alt":"x","throws":[{"sides":6,"good":{"number":"","word":"","faces":[` + strings.Repeat("1,", MaxDice) + `1]},"rest":{"number":"","word":"","faces":[]}}]}`, "10001 dice"},
		{"odds", `{"alt":"x","axis":"","first":0,"chances":[]}`, "0 chances"},
		{"odds", `{"alt":"x","axis":"","first":0,"chances":[2000000]}`, "millionths"},
		{"odds", `{"alt":"x","axis":"","first":0,"chances":[1],"bars":1}`, "unknown field"},
		{"luck", `{"alt":"x","rows":[]}`, "0 rows"},
		{"luck", `{"alt":"x","low":5,"high":3,"rows":[{"face":1,"count":1}]}`, "low before high"},
		{"map", `{"alt":"x","regions":[]}`, "0 regions"},
		{"map", `{"alt":"x","regions":[{"x":1,"y":1,"owner":-1},{"x":1,"y":1,"owner":-1}]}`, "no ground is left"},
		{"map", `{"alt":"x","regions":[{"x":1,"y":1,"owner":0}]}`, "not in the list"},
		{"map", `{"alt":"x","regions":[{"x":1,"y":1,"owner":-1}],"links":[{"from":0,"to":1,"by":"road"}]}`, "link 0"},
		{"map", `{"alt":"x","regions":[{"x":1,"y":1000000,"owner":-1}]}`, "at most 100000"},
		{"standings", `{"alt":"x","strips":[{"place":1,"owner":16,"name":"x","value":1,"words":""}]}`, "owner 16"},
		{"maps", `{"alt":"x","maps":[]}`, "0 of them"},
	} {
		if _, err := Read(c.kind, []byte(c.value)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %.60s: %v; expected something about %q", c.kind, c.value, err, c.says)
		}
	}
}

// TestClose: regions a hair's breadth apart, in one line, at the corners.
func TestClose(t *testing.T) {
	for _, at := range [][][2]int{
		{{0, 0}, {1, 0}}, {{0, 0}, {1, 1}, {2, 2}, {3, 3}, {1000, 1000}}, {{0, 0}, {0, 1000}, {1000, 0}, {1000, 1000}, {500, 500}, {501, 500}, {500, 501}},
		{{-100000, -100000}, {100000, 100000}, {99999, 99999}},
	} {
		m := Map{Alt: "close"}
		for i, p := range at {
			m.Regions = append(m.Regions, Region{Name: fmt.Sprint("Place ", i), X: p[0], Y: p[1], Owner: -1})
		}
		s, err := Lay(m)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.PNG(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestCells: neighbours agree on their border to the last bit, and every point
// of the frame has an owner: the cells' areas add up to the frame's.
func TestCells(t *testing.T) {
	sites := []Point{{100, 100}, {900, 120}, {500, 480}, {130, 800}, {880, 790}, {505, 110}, {300, 300}, {700, 300}, {300, 700}, {700, 700}}
	frame := Box{0, 0, 1000, 900}
	land := cells(sites, frame)
	twice := int64(0)
	for i, c := range land {
		for k, a := range c.corners {
			b := c.corners[(k+1)%len(c.corners)]
			twice += int64(a.X)*int64(b.Y) - int64(b.X)*int64(a.Y)
			if j := c.next[k]; j >= 0 && !shares(land[j], i, b, a) {
				t.Errorf("cells %d and %d do not share the side %v %v", i, j, a, b)
			}
		}
	}
	if twice != 2*1000*900 {
		t.Errorf("the cells cover %d half units, expected %d", twice, 2*1000*900)
	}
}

func shares(c cell, with int, a, b Point) bool {
	for k, p := range c.corners {
		if c.next[k] == with && p == a && c.corners[(k+1)%len(c.corners)] == b {
			return true
		}
	}
	return false
}

// FuzzRead: whatever stands in a value, there is a picture or an error.
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob("testdata/scenes/*.json")
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		kind, _, _ := strings.Cut(filepath.Base(name), ".")
		f.Add(kind, b)
	}
	f.Fuzz(func(t *testing.T, kind string, value []byte) {
		s, err := Read(kind, value)
		if err != nil {
			return
		}
		b, err := Encode(s, "x.png")
		if err != nil || !bytes.HasPrefix(b, []byte("\x89PNG")) {
			t.Fatalf("%v", err)
		}
		if len(s.SVG()) == 0 {
			t.Fatal("no drawing")
		}
	})
}

// TestWithin: a line is cut at the sides of a box, wherever it comes in and goes out.
func TestWithin(t *testing.T) {
	box := Box{0, 0, 100, 100}
	type line = []Point
	for _, c := range []struct {
		line line
		want []line
	}{
		{line{{-50, 50}, {150, 50}}, []line{{{0, 50}, {100, 50}}}},
		{line{{10, 10}, {20, 20}}, []line{{{10, 10}, {20, 20}}}},
		{line{{-50, -50}, {150, 150}}, []line{{{0, 0}, {100, 100}}}},
		{line{{-50, 0}, {-50, 200}}, nil},
		{line{{-10, 60}, {60, -10}}, []line{{{0, 50}, {50, 0}}}},
		{line{{-20, 10}, {10, -20}}, nil},
		{line{{50, 50}, {50, 150}, {80, 150}, {80, 50}}, []line{{{50, 50}, {50, 100}}, {{80, 100}, {80, 50}}}},
		{line{{50, 50}, {150, 50}, {50, 50}}, []line{{{50, 50}, {100, 50}, {50, 50}}}},
	} {
		if got := within(c.line, box); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %v, want %v", c.line, got, c.want)
		}
	}
}
