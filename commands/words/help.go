package words

import (
	_ "embed"
	"fmt"
	"slices"

	"github.com/pelletier/go-toml/v2"
)

//go:embed help.toml
var helpFile []byte

// Spanish is spoken in two ways that platforms tell apart; one text serves both
// unless the catalogue has another for America.
const (
	spanish   = "es"
	inSpain   = "es-ES"
	inAmerica = "es-419"
)

// Languages are those in which the catalogue says what commands are for, besides
// English, as the Unicode CLDR names them.
var languages = []string{"de", inAmerica, inSpain, "fr"}

// Languages lists the languages of Helps.
func Languages() []string { return slices.Clone(languages) }

// Helps are what commands and their parameters are for, in other languages: by the
// English text, so that a text that changes asks for its translations anew.
type Helps map[string]map[string]string

// LoadHelps reads the catalogue.
func LoadHelps() (Helps, error) {
	var h Helps
	if err := toml.Unmarshal(helpFile, &h); err != nil {
		return nil, fmt.Errorf("words: help.toml: %w", err)
	}
	return h, nil
}

// In is a text in a language; false if there is none, and English serves.
func (h Helps) In(language, english string) (string, bool) {
	text, ok := h[english][language]
	if !ok && (language == inSpain || language == inAmerica) {
		text, ok = h[english][spanish]
	}
	return text, ok
}
