package picture

import (
	"testing"
	"time"
)

// BenchmarkPictures draws and packs each kind of picture and compares it with
// packing a blank one of the same size, taking turns: the ratio is reported.
// Goals: map at most 8, dice 4, charts 3. Allocations are bounded by
// TestAllocations.
func BenchmarkPictures(b *testing.B) {
	all := scenes(b)
	for _, name := range []string{"map.osier", "dice.24", "dice.1000", "odds.hits", "luck.battle", "standings.osier"} {
		b.Run(name, func(b *testing.B) {
			s := all[name]
			blank := &Sheet{Width: s.Width, Height: s.Height, Ground: paper, Alt: "blank"}
			encode := func(s *Sheet) time.Duration {
				at := time.Now()
				if _, err := Encode(s, "x.png"); err != nil {
					b.Fatal(err)
				}
				return time.Since(at)
			}
			var ours, floor time.Duration
			b.ReportAllocs()
			for b.Loop() {
				ours += encode(s)
				floor += encode(blank)
			}
			b.ReportMetric(float64(ours)/float64(floor), "x-blank")
			b.ReportMetric(float64(ours.Microseconds())/float64(b.N)/1000, "ms/picture")
		})
	}
}

// TestAllocations bounds how many allocations a picture takes once its letters
// are known.
func TestAllocations(t *testing.T) {
	all := scenes(t)
	for name, most := range map[string]float64{"map.osier": 9000, "dice.24": 2500, "odds.hits": 2500, "luck.battle": 2500} {
		s := all[name]
		if got := testing.AllocsPerRun(3, func() {
			if _, err := Encode(s, "x.png"); err != nil {
				t.Fatal(err)
			}
		}); got > most {
			t.Errorf("%s: %.0f allocations, expected at most %.0f", name, got, most)
		}
	}
}
