package picture

import (
	"encoding/json"
	"fmt"
	"image/png"
	"slices"
	"strings"
)

// Scene is a value that can be drawn.
type Scene interface {
	// Sheet lays the picture out, or says what the value has too much of.
	Sheet() (*Sheet, error)
	// Kind is its name in recipes and for bot picture.
	Kind() string
}

func (Dice) Kind() string      { return "dice" }
func (Odds) Kind() string      { return "odds" }
func (Luck) Kind() string      { return "luck" }
func (Map) Kind() string       { return "map" }
func (Maps) Kind() string      { return "maps" }
func (Standings) Kind() string { return "standings" }

// kinds are the scenes by name.
var kinds = map[string]func() Scene{
	"dice":      func() Scene { return new(Dice) },
	"odds":      func() Scene { return new(Odds) },
	"luck":      func() Scene { return new(Luck) },
	"map":       func() Scene { return new(Map) },
	"maps":      func() Scene { return new(Maps) },
	"standings": func() Scene { return new(Standings) },
}

// Kinds lists what can be drawn.
func Kinds() []string {
	var out []string
	for k := range kinds {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// maxAlt is how many letters the words of a picture may have.
const maxAlt = 1000

// Read makes a sheet of a scene written as JSON; members that the scene does
// not have are an error. Every picture has words for who cannot see it.
func Read(kind string, value []byte) (*Sheet, error) {
	scene, ok := kinds[kind]
	if !ok {
		return nil, fmt.Errorf("picture: no scene is called %q; there are %s", kind, strings.Join(Kinds(), ", "))
	}
	v := scene()
	d := json.NewDecoder(strings.NewReader(string(value)))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return nil, fmt.Errorf("picture: the value of a %s: %w", kind, err)
	}
	return Lay(v)
}

// Lay makes a sheet of a scene and checks it.
func Lay(v Scene) (*Sheet, error) {
	s, err := v.Sheet()
	if err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	if strings.TrimSpace(s.Alt) == "" {
		return nil, fmt.Errorf("picture: no alt; expected the same facts in words, for who cannot see it")
	}
	if n := len([]rune(s.Alt)); n > maxAlt {
		return nil, fmt.Errorf("picture: alt has %d letters; expected at most %d", n, maxAlt)
	}
	if s.Height > MaxSide {
		return nil, fmt.Errorf("picture: it would be %d pixels high; expected at most %d", s.Height, MaxSide)
	}
	return s, nil
}

// Encode draws a sheet as the file that a name asks for: .svg, else PNG. Small
// pictures that are wanted at once are packed fast.
func Encode(s *Sheet, name string) ([]byte, error) {
	if strings.HasSuffix(name, ".svg") {
		return s.SVG(), nil
	}
	if s.Width <= 800 && s.Height <= 800 {
		return encode(s.render(), png.BestSpeed)
	}
	return s.PNG()
}
