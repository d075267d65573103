package words

import (
	"slices"
	"testing"
)

// Both Spanish locales are served by one text, each by its own if it has one.
func TestHelpsIn(t *testing.T) {
	h := Helps{"roll": {"de": "würfeln", "es": "tirar"}, "unit": {"es": "unidad", "es-419": "la unidad"}}
	for _, c := range []struct{ language, english, want string }{
		{"de", "roll", "würfeln"}, {"es-ES", "roll", "tirar"}, {"es-419", "roll", "tirar"}, {"es-419", "unit", "la unidad"}, {"es-ES", "unit", "unidad"},
		{"fr", "roll", ""}, {"de", "nothing", ""},
	} {
		if got, ok := h.In(c.language, c.english); got != c.want || ok != (c.want != "") {
			t.Errorf("%q in %s: %q", c.english, c.language, got)
		}
	}
	if !slices.IsSorted(Languages()) || len(Languages()) != 4 {
		t.Errorf("languages %v", Languages())
	}
}
