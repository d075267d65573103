package rules

import "testing"

// The packs that come with the program load without a fault and without a
// warning: nothing in them is never used.
func TestBuiltinsAreClean(t *testing.T) {
	for _, id := range Builtins() {
		p, err := LoadBuiltin(id)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range p.Warnings {
			t.Errorf("%s:%d: %s%v", id, w.Line, w.Reason.ID, w.Reason.Args)
		}
		if len(p.Armies) < 2 || len(p.Muster.Points) == 0 {
			t.Errorf("%s has %d armies and points %v", id, len(p.Armies), p.Muster.Points)
		}
	}
}
