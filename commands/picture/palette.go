package picture

import "slices"

// bucket is a set of colours that differ in the last bits only (five bits of
// red, six of green, five of blue).
func bucket(c Colour) int {
	return int(c>>19&31)<<11 | int(c>>10&63)<<5 | int(c>>3&31)
}

// shade is a bucket that occurs: how often, and the colour of the longest run
// in it, which stands for it. A flat ground keeps its exact colour that way.
type shade struct {
	count, run int
	colour     Colour
}

// palette chooses at most 256 colours and gives each pixel its number. Frequent
// colours come first; one that is near a chosen one is passed over, at first
// generously, then less so, until the palette is full.
func (c *canvas) palette() ([]Colour, []byte) {
	shades := make([]shade, 1<<16)
	for i := 0; i < len(c.pixels); {
		j := i + 1
		for j < len(c.pixels) && c.pixels[j] == c.pixels[i] {
			j++
		}
		s := &shades[bucket(c.pixels[i])]
		s.count += j - i
		if j-i > s.run {
			s.run, s.colour = j-i, c.pixels[i]
		}
		i = j
	}
	var found []shade
	for _, s := range shades {
		if s.count > 0 {
			found = append(found, s)
		}
	}
	slices.SortStableFunc(found, func(a, b shade) int { return b.count - a.count })
	colours := choose(found)
	number := make([]byte, 1<<16)
	for i := range shades {
		if shades[i].count > 0 {
			number[i] = byte(nearest(colours, shades[i].colour))
		}
	}
	out := make([]byte, len(c.pixels))
	for i, p := range c.pixels {
		out[i] = number[bucket(p)]
	}
	return colours, out
}

func choose(found []shade) []Colour {
	var colours []Colour
	taken := make([]bool, len(found))
	for _, apart := range []int{260, 90, 1} {
		for i, s := range found {
			if len(colours) == 256 {
				return colours
			}
			if !taken[i] && (len(colours) == 0 || distance(colours[nearest(colours, s.colour)], s.colour) >= apart) {
				colours, taken[i] = append(colours, s.colour), true
			}
		}
	}
	return colours
}

func nearest(colours []Colour, c Colour) int {
	best, least := 0, 1<<30
	for i, v := range colours {
		if d := distance(v, c); d < least {
			best, least = i, d
		}
	}
	return best
}

// distance weighs green most, as eyes do.
func distance(a, b Colour) int {
	r := int(a>>16&255) - int(b>>16&255)
	g := int(a>>8&255) - int(b>>8&255)
	l := int(a&255) - int(b&255)
	return 2*r*r + 4*g*g + l*l
}
