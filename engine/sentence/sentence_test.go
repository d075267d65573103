package sentence

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"drumhead/engine/reason"
)

// canonical are the sentences of the design, each in its one spelling.
var canonical = []string{
	"12d6",
	"d20",
	"2d6+1",
	"2d6-d3+1",
	"d66",
	"12d6 4+",
	"20d6 3+, 4+, save 5+",
	"12d6 3+ reroll 1s, 4+",
	"12d6 4+ reroll misses",
	"12d6 4+ reroll hits",
	"8d6 5+ reroll one miss",
	"12d6 3+ 6s count twice, 4+",
	"12d6 3+ 6s pass next, 4+, save 5+",
	"12d6 3+, 4+ 6s no save, save 4+",
	"best 2 of 3d6",
	"worst 1 of 2d20",
	"6 times best 3 of 4d6",
	"2d6 total 9+",
	"2d6+1 total 9+",
	"2d6 total 7 or less",
	"d20 12 or less",
	"2d6 against 2d6",
	"2d6+2 against best 2 of 3d6",
	"8d6 4+ against 5d6 5+",
	"3d6 open-ended",
	"d6 open-ended+2 total 8+",
	"12d6 4+, at least 5",
	"6d6 4+, damage 2, into 5 of 3",
	"6d6 4+, damage d3",
	"60d6 3+ reroll 1s, 4+ reroll misses, save 5+, damage d3, last save 6+, into 10 of 3",
	"12d6 4+ for the bridge, at last",
	"2d6+best 1 of 2d6",
	"2-d3",
	"10-2d6-d3",
	"3d20 12+, 15+",
	"again 4+",
	"again save 5+ for Gus",
	"again 3+ reroll 1s 6s count twice, 4+, save 5+",
	"7d6 save 5+",
	"3 times 12d6 4+, at least 6",
	"12d6 3+ reroll 1s 6s count twice 6s pass next, 4+",
	"4d6 2+, damage 2d6+1, last save 6+",
	"1000d6 3+, 4+, save 5+",
}

func TestCanonical(t *testing.T) {
	for _, text := range canonical {
		s, err := Parse(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got := s.Format(); got != text {
			t.Errorf("%q is written %q", text, got)
		}
		again, err := Parse(s.Format())
		if err != nil || !reflect.DeepEqual(again, s) {
			t.Errorf("%q read again: %v, %+v", text, err, again)
		}
	}
}

// What phones and people do to a sentence, and what is read.
func TestKindReading(t *testing.T) {
	for text, want := range map[string]string{
		"12D6":                             "12d6",
		"12 d 6":                           "12d6",
		"12W6 4+":                          "12d6 4+",
		"12d6\u00a04+":                     "12d6 4+",
		"12\u202fd6\u20094+":               "12d6 4+",
		"\u201c12d6 4+\u201d":              "12d6 4+",
		"12d6 4+.":                         "12d6 4+",
		" 12d6   4+ ,5+ ":                  "12d6 4+, 5+",
		"12d6 4 +":                         "12d6 4+",
		"12d6 4 +, save 5 +":               "12d6 4+, save 5+",
		"2d6\u20131":                       "2d6-1",
		"2d6 \u2014 1":                     "2d6-1",
		"2d6 \u2212 d3":                    "2d6-d3",
		"2d6+ 1":                           "2d6+1",
		"2d6 + 1 Total 9+":                 "2d6+1 total 9+",
		"1d6":                              "d6",
		"D20 12 or Less":                   "d20 12 or less",
		"12d6 4 or more":                   "12d6 4+",
		"12d6 4+ re-roll ones":             "12d6 4+ reroll 1s",
		"12d6 4+ re\u2011roll 1s":          "12d6 4+ reroll 1s",
		"12d6 3+ 6s count twice reroll 1s": "12d6 3+ reroll 1s 6s count twice",
		"1+2d6+3":                          "2d6+4",
		"2d6+5-7":                          "2d6-2",
		"3d6 Open-Ended + 2":               "3d6 open-ended+2",
		"12d6, 4+":                         "12d6 4+",
		"012d06 04+":                       "12d6 4+",
		"12d6 4+ For  the\u00a0Bridge ":    "12d6 4+ for the Bridge",
		"12d6 4+ for it’s “over”":          "12d6 4+ for it’s “over”",
		"12d6 4+ for":                      "12d6 4+",
		"12d6 4+ – for the bridge":         "12d6 4+ for the bridge",
		"2d6-1 -- for":                     "2d6-1",
		"12d6 4+ for a\u202eb\x07c":        "12d6 4+ for abc",
		"AGAIN SAVE 5+":                    "again save 5+",
		"1d66":                             "d66",
		"2d6+3d6":                          "2d6+3d6",
		"12d6 4+\uff0c 5+":                 "12d6 4+, 5+",
		"2d6 total 9 or more":              "2d6 total 9+",
	} {
		s, err := Parse(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got := s.Format(); got != want {
			t.Errorf("%q is read as %q, expected %q", text, got, want)
		}
	}
}

// bad are sentences that are refused, each with the id of why.
var bad = map[string]string{
	"":                                      "dice.refuse.empty",
	"  ":                                    "dice.refuse.empty",
	"for the bridge":                        "dice.refuse.empty",
	"0d6":                                   "dice.refuse.no_dice",
	"99999d6":                               "dice.refuse.many_dice",
	"99999999999999999999d6":                "dice.refuse.many_dice",
	"1001d6":                                "dice.refuse.many_dice",
	"600d6+600d6":                           "dice.refuse.many_dice",
	"20 times 51d6":                         "dice.refuse.many_dice",
	"501d6 4+ against 500d6 4+":             "dice.refuse.many_dice",
	"d1":                                    "dice.refuse.sides",
	"3d0":                                   "dice.refuse.sides",
	"d1001":                                 "dice.refuse.sides",
	"12d6 7+":                               "dice.refuse.high",
	"12d6 99999999999+":                     "dice.refuse.high",
	"12d6 1+":                               "dice.refuse.low",
	"12d6 0+":                               "dice.refuse.low",
	"d6 6 or less":                          "dice.refuse.or_less",
	"d6 0 or less":                          "dice.refuse.or_less",
	"2d6 9+":                                "dice.refuse.high_total",
	"2d6+1 9+":                              "dice.refuse.added",
	"2d6+1 4+":                              "dice.refuse.added",
	"best 2 of 3d6 4+":                      "dice.refuse.added",
	"3d6 open-ended 4+":                     "dice.refuse.added",
	"d66 4+":                                "dice.refuse.added",
	"2d6 total 9+, 4+":                      "dice.refuse.added",
	"12d6 4":                                "dice.refuse.bare",
	"12d6 4, 5+":                            "dice.refuse.bare",
	"2d6 against 2d6 4":                     "dice.refuse.bare",
	"2d6 total 13+":                         "dice.refuse.total",
	"2d6 total 2+":                          "dice.refuse.total",
	"2d6 total 12 or less":                  "dice.refuse.total",
	"2d6 total":                             "dice.refuse.ends",
	"2d6 total x":                           "dice.refuse.word",
	"21 times d6":                           "dice.refuse.times",
	"1 times d6":                            "dice.refuse.times",
	"best 3 of 3d6":                         "dice.refuse.kept",
	"best 0 of 3d6":                         "dice.refuse.kept",
	"best 2 of 41d6":                        "dice.refuse.kept_from",
	"best of 3d6":                           "dice.refuse.word",
	"best 2 3d6":                            "dice.refuse.word",
	"best 2 of":                             "dice.refuse.ends",
	"3d66":                                  "dice.refuse.d66",
	"12d6 4+ reroll 2s":                     "dice.refuse.word",
	"12d6 4+ reroll":                        "dice.refuse.ends",
	"12d6 4+ reroll one":                    "dice.refuse.ends",
	"12d6 4+ reroll 1s reroll misses":       "dice.refuse.word",
	"12d6 4+ 6s":                            "dice.refuse.ends",
	"12d6 4+ 6s count":                      "dice.refuse.ends",
	"12d6 4+ 6s explode":                    "dice.refuse.word",
	"12d6 4+ 5s count twice":                "dice.refuse.natural_face",
	"12d6 4+ 6s count twice 6s count twice": "dice.refuse.word",
	"12d6 4+ 6s count twice 5s pass next, 4+": "dice.refuse.word",
	"12d6 4+ 6s pass next":                    "dice.refuse.no_next",
	"12d6 4+ 6s no save, 4+":                  "dice.refuse.no_later_save",
	"12d6 4+, save 4+ 6s no save":             "dice.refuse.save_natural",
	"d6 3 or less 6s count twice":             "dice.refuse.natural_or_less",
	"12d6 2+, 2+, 2+, 2+, 2+, 2+, 2+":         "dice.refuse.stages",
	"2d6 against 2d6 4+":                      "dice.refuse.against",
	"2d6 4+ against 2d6":                      "dice.refuse.against",
	"2d6 total 9+ against 2d6":                "dice.refuse.against",
	"8d6 4+, 4+ against 2d6":                  "dice.refuse.word",
	"8d6 save 4+ against 2d6 4+":              "dice.refuse.against",
	"8d6 4+ against 2d6 4+, 4+":               "dice.refuse.word",
	"2d6, damage 2":                           "dice.refuse.damage_need",
	"6d6 4+, damage":                          "dice.refuse.ends",
	"6d6 4+, damage x":                        "dice.refuse.word",
	"6d6 4+, damage 5000":                     "dice.refuse.damage",
	"6d6 4+, damage 2, into 101 of 3":         "dice.refuse.into",
	"6d6 4+, damage 2, into 5 of 41":          "dice.refuse.into",
	"6d6 4+, damage 2, into 0 of 1":           "dice.refuse.into",
	"6d6 4+, damage 2, into 5":                "dice.refuse.ends",
	"6d6 4+, damage 2, 4+":                    "dice.refuse.word",
	"6d6 4+, last save 4+":                    "dice.refuse.word",
	"6d6 4+, into 5 of 3":                     "dice.refuse.word",
	"6d6 4+, damage 2, last save 7+":          "dice.refuse.high",
	"12d6 4+, at least":                       "dice.refuse.ends",
	"12d6 4+, at least 0":                     "dice.refuse.at_least",
	"12d6 4+, at least 99999":                 "dice.refuse.at_least",
	"12d6, at least 5":                        "dice.refuse.at_least_total",
	"12d6 4+, at least 5, 4+":                 "dice.refuse.word",
	"12d6 4+ !":                               "dice.refuse.character",
	"12d6 \u0664+":                            "dice.refuse.character",
	"(2d6)":                                   "dice.refuse.character",
	"12d6 4+ banana":                          "dice.refuse.word",
	"banana":                                  "dice.refuse.word",
	"12d":                                     "dice.refuse.ends",
	"d":                                       "dice.refuse.ends",
	"12":                                      "dice.refuse.ends",
	"2d6+":                                    "dice.refuse.ends",
	"2d6+2000":                                "dice.refuse.number",
	"2d6+999+999":                             "dice.refuse.number",
	"12d6 4+,":                                "dice.refuse.ends",
	"again":                                   "dice.refuse.ends",
	"again 12d6":                              "dice.refuse.word",
	"again 4+, damage 2":                      "dice.refuse.word",
	"1000d6 2+ 6s count twice, 2+ 6s count twice, 2+": "dice.refuse.drawn",
	"400d6 2+, damage 1, into 5 of 3":                 "dice.refuse.blows",
	"12d6 4+ for " + strings.Repeat("a", 200):         "dice.refuse.long",
}

// Every example that a refusal gives is a whole sentence that can be rolled.
func TestRefusals(t *testing.T) {
	seen := map[string]bool{}
	for text, want := range bad {
		_, err := Parse(text)
		var r *reason.Refusal
		if !errors.As(err, &r) {
			t.Errorf("%q was not refused: %v", text, err)
			continue
		}
		if r.Reason.ID != want {
			t.Errorf("%q: %s, expected %s", text, r.Reason.ID, want)
		}
		seen[r.Reason.ID] = true
		if _, err := Parse(r.Example); err != nil {
			t.Errorf("%q: the example %q is refused itself: %v", text, r.Example, err)
		}
	}
	for _, e := range []expectation{expectDice, expectSides, expectEnd, expectNeed, expectOr, expectTotal, expectKept, expectReroll,
		expectOneReroll, expectNatural, expectOnce, expectPart, expectLeast, expectDamage, expectLast, expectInto} {
		if _, err := Parse(e.example); err != nil {
			t.Errorf("the example %q of %s: %v", e.example, e.id, err)
		}
	}
}

// Examples made from what was asked keep the player's own dice where they can.
func TestOwnExamples(t *testing.T) {
	for text, want := range map[string]string{
		"12d6 7+":          "12d6 6+",
		"5d20 21+":         "5d20 20+",
		"2d6 9+":           "2d6 total 9+",
		"2d6+1 9+":         "2d6+1 total 9+",
		"d6+1 9+":          "2d6+1 total 9+",
		"best 2 of 3d6 9+": "best 2 of 3d6 total 9+",
	} {
		_, err := Parse(text)
		var r *reason.Refusal
		if !errors.As(err, &r) || r.Example != want {
			t.Errorf("%q: %+v, expected the example %q", text, r, want)
		}
	}
}

// A refused word is named with its place.
func TestPlace(t *testing.T) {
	_, err := Parse("12d6 4+ reroll 2s")
	var r *reason.Refusal
	if !errors.As(err, &r) {
		t.Fatal(err)
	}
	want := reason.New("dice.refuse.word", "word", reason.Name("2"), "expected", reason.New("dice.expect.reroll"), "at", 16)
	if !reflect.DeepEqual(r.Reason, want) {
		t.Errorf("%+v", r.Reason)
	}
}

func TestAgainOn(t *testing.T) {
	s, err := Parse("again 5+ 6s count twice, save 4+")
	if err != nil {
		t.Fatal(err)
	}
	for c, want := range map[Carry]string{
		{}:                     "dice.refuse.no_carry",
		{Dice: 3, Sides: 4}:    "dice.refuse.natural_face",
		{Dice: 3, Sides: 20}:   "dice.refuse.natural_face",
		{Dice: 2000, Sides: 6}: "dice.refuse.many_dice",
	} {
		_, err := s.On(c)
		var r *reason.Refusal
		if !errors.As(err, &r) || r.Reason.ID != want {
			t.Errorf("on %+v: %v, expected %s", c, err, want)
		}
	}
	on, err := s.On(Carry{Dice: 7, Sides: 6})
	if err != nil || on.Format() != "7d6 5+ 6s count twice, save 4+" {
		t.Errorf("%q, %v", on.Format(), err)
	}
}

func TestThen(t *testing.T) {
	parse := func(text string) Sentence {
		s, err := Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	whole, ok := parse("20d6 3+ for Rope Guard").Then(parse("again 4+"))
	if !ok || whole.Format() != "20d6 3+, 4+" {
		t.Errorf("%q", whole.Format())
	}
	for _, no := range []string{"2d6", "3 times 4d6 4+", "6d6 4+, damage 2", "9d6 2+, 2+, 2+, 2+, 2+, 2+", "2d6 4+ against 2d6 4+"} {
		if s, ok := parse(no).Then(parse("again 4+")); ok {
			t.Errorf("%q went on as %q", no, s.Format())
		}
	}
}

// Parse never fails otherwise than by a refusal, and what it reads is written in
// one spelling that reads the same.
func FuzzParse(f *testing.F) {
	for _, text := range canonical {
		f.Add(text)
	}
	for text := range bad {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse(text)
		if err != nil {
			var r *reason.Refusal
			if !errors.As(err, &r) {
				t.Fatalf("%q: %v is no refusal", text, err)
			}
			if _, err := Parse(r.Example); err != nil {
				t.Fatalf("%q: the example %q of %s is refused: %v", text, r.Example, r.Reason.ID, err)
			}
			return
		}
		written := s.Format()
		again, err := Parse(written)
		if err != nil || !reflect.DeepEqual(s, again) {
			t.Fatalf("%q is written %q and read as %+v, %v; was %+v", text, written, again, err, s)
		}
		for _, c := range s.Plain() {
			if c < ' ' || c > '~' {
				t.Fatalf("%q: %q is not printable ASCII", text, s.Plain())
			}
		}
	})
}
