package picture

import (
	"embed"
	"strings"
)

//go:embed testdata/scenes/dice.24.json testdata/scenes/odds.hits.json testdata/scenes/luck.battle.json
//go:embed testdata/scenes/map.osier.json testdata/scenes/maps.round.json testdata/scenes/standings.osier.json
var examples embed.FS

// Example is a value of a kind of scene as JSON, to begin from; nil for an
// unknown kind.
func Example(kind string) []byte {
	list, err := examples.ReadDir("testdata/scenes")
	if err != nil {
		return nil
	}
	for _, e := range list {
		if name, _, _ := strings.Cut(e.Name(), "."); name == kind {
			b, err := examples.ReadFile("testdata/scenes/" + e.Name())
			if err != nil {
				return nil
			}
			return b
		}
	}
	return nil
}
