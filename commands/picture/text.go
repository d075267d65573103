package picture

import (
	"fmt"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The Go fonts, carried in the program: a machine's own fonts would give every
// machine its own pictures.
var faces = [2]*face{newFace(goregular.TTF), newFace(gobold.TTF)}

// face is a font with the outlines that have been asked for.
type face struct {
	font *sfnt.Font

	mu     sync.Mutex
	buf    sfnt.Buffer
	glyphs map[glyphKey]glyph
}

type glyphKey struct {
	size Length
	r    rune
}

// glyph is a letter's outline about its origin and how far it moves on, both
// in 64ths of a pixel. Known tells whether the font has it.
type glyph struct {
	lines       [][]dot
	top, bottom int32 // of its ink
	advance     int32
	known       bool
}

func newFace(ttf []byte) *face {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("picture: a font that is part of the program: %v", err))
	}
	return &face{font: f, glyphs: map[glyphKey]glyph{}}
}

func (t Text) face() *face {
	if t.Bold {
		return faces[1]
	}
	return faces[0]
}

// maxGlyphs bounds what a face remembers: names may be in any script.
const maxGlyphs = 4096

func (f *face) glyph(size Length, r rune) glyph {
	f.mu.Lock()
	defer f.mu.Unlock()
	key := glyphKey{size, r}
	if g, ok := f.glyphs[key]; ok {
		return g
	}
	g := f.load(size, r)
	if len(f.glyphs) >= maxGlyphs {
		clear(f.glyphs)
	}
	f.glyphs[key] = g
	return g
}

func (f *face) load(size Length, r rune) (g glyph) {
	i, err := f.font.GlyphIndex(&f.buf, r)
	if err != nil {
		return glyph{}
	}
	ppem := fixed.Int26_6(size) * 8
	segments, err := f.font.LoadGlyph(&f.buf, i, ppem, nil)
	if err != nil {
		return glyph{}
	}
	g.known = i != 0
	var line []dot
	for _, s := range segments {
		at := func(k int) dot { return dot{int32(s.Args[k].X), int32(s.Args[k].Y)} }
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if line != nil {
				g.lines = append(g.lines, line)
			}
			line = []dot{at(0)}
		case sfnt.SegmentOpLineTo:
			line = append(line, at(0))
		case sfnt.SegmentOpQuadTo:
			a, b, c := line[len(line)-1], at(0), at(1)
			line = bend(line, third(a, b), third(c, b), c)
		case sfnt.SegmentOpCubeTo:
			line = bend(line, at(0), at(1), at(2))
		}
	}
	if line != nil {
		g.lines = append(g.lines, line)
	}
	if len(g.lines) > 0 {
		_, g.top, _, g.bottom = extent(g.lines)
	}
	wide, err := f.font.GlyphAdvance(&f.buf, i, ppem, font.HintingNone)
	if err == nil {
		g.advance = int32(wide)
	}
	return g
}

// third is the cubic handle of a quadratic curve: two thirds of the way from an
// end to the quadratic's one handle.
func third(end, b dot) dot {
	return dot{int32(floor(int64(end.x)+2*int64(b.x)+1, 3)), int32(floor(int64(end.y)+2*int64(b.y)+1, 3))}
}

// wide is the width of the words in 64ths of a pixel.
func (t Text) wide() (n int32) {
	f := t.face()
	for _, r := range t.Words {
		n += f.glyph(t.Size, r).advance
	}
	return n
}

// Width is how wide the words are.
func (t Text) Width() Length { return Length((t.wide() + 7) / 8) }

// start is where the first letter stands, in 64ths; the baseline is on a whole
// pixel, so that all letters stand alike.
func (t Text) start() dot {
	d := t.At.dot()
	switch t.Anchor {
	case Middle:
		d.x -= t.wide() / 2
	case Right:
		d.x -= t.wide()
	}
	d.y = (d.y + 32) &^ 63
	return d
}

// Box is what the words take: as wide as they run and as high as their ink.
func (t Text) Box() Box {
	d, f := t.start(), t.face()
	top, bottom := int32(0), int32(0)
	for _, r := range t.Words {
		g := f.glyph(t.Size, r)
		top, bottom = min(top, g.top), max(bottom, g.bottom)
	}
	x := Length(d.x / 8)
	return Box{x, Length((d.y + top) / 8), x + t.Width(), Length((d.y + bottom + 7) / 8)}
}

func (t Text) flatten() (out [][]dot) {
	at, f := t.start(), t.face()
	for _, r := range t.Words {
		g := f.glyph(t.Size, r)
		for _, line := range g.lines {
			moved := make([]dot, len(line))
			for i, d := range line {
				moved[i] = dot{d.x + at.x, d.y + at.y}
			}
			out = append(out, moved)
		}
		at.x += g.advance
	}
	return out
}

// Legible tells whether the fonts have every letter of a name.
func Legible(name string) bool {
	for _, r := range name {
		if r < ' ' || !faces[0].glyph(px(16), r).known {
			return false
		}
	}
	return strings.TrimSpace(name) != ""
}

// fit shortens words, with an ellipsis, until they are no wider than most.
func (t Text) fit(most Length) Text {
	if t.Width() <= most {
		return t
	}
	letters := []rune(t.Words)
	dots := t
	dots.Words = "…"
	room := int32(most)*8 - dots.wide()
	n := 0
	for ; n < len(letters); n++ {
		if room -= t.face().glyph(t.Size, letters[n]).advance; room < 0 {
			break
		}
	}
	t.Words = strings.TrimRight(string(letters[:n]), " ") + "…"
	return t
}

// maxLetters is how much of a name a scene looks at.
const maxLetters = 200

// plain is words as a picture can show them: letters that the fonts lack
// become a question mark, and what is over maxLetters is left out.
func plain(words string) string {
	var b strings.Builder
	n := 0
	for _, r := range words {
		if n++; n > maxLetters {
			b.WriteString("…")
			break
		}
		switch {
		case r < ' ':
			b.WriteByte(' ')
		case faces[0].glyph(px(16), r).known:
			b.WriteRune(r)
		default:
			b.WriteByte('?')
		}
	}
	return b.String()
}

// shown is a name, or the number that stands for it where the fonts lack one of
// its letters; the post beside the picture has the name.
func shown(name string, number int) string {
	if Legible(name) {
		return plain(name)
	}
	return fmt.Sprint(number)
}
