package commands

import (
	"strings"
	"testing"

	"drumhead/commands/picture"
	"drumhead/commands/words"
)

// TestAltOf: sentences stand apart, what has no stop gets one, and what is too
// long ends with dots.
func TestAltOf(t *testing.T) {
	if got := altOf(words.Text("Osier, round 1"), nil, words.Text("Ann 5: Withy Lock.")); got != "Osier, round 1. Ann 5: Withy Lock." {
		t.Errorf("%q", got)
	}
	long := altOf(words.Text(strings.Repeat("é", 2*mostAlt)))
	if n := len([]rune(long)); n != mostAlt || !strings.HasSuffix(long, "…") {
		t.Errorf("%d letters, ends %q", n, long[len(long)-4:])
	}
}

// TestInitials: no two players share a letter while there are letters, whatever
// they are called.
func TestInitials(t *testing.T) {
	for _, c := range []struct{ names, want string }{
		{"Ann Bo Cy", "A B C"}, {"Ann Alf Art", "A L R"}, {"aa AA Aa", "A B C"}, {"* 12 Ödön", "A B Ö"},
	} {
		if got := strings.Join(initials(strings.Fields(c.names)), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.names, got, c.want)
		}
	}
	seen := map[string]bool{}
	for _, l := range initials(make([]string, 26)) {
		if l == "" || seen[l] {
			t.Errorf("letter %q twice", l)
		}
		seen[l] = true
	}
}

// TestDrawnAgain: what a post has put down can be drawn, is the same bytes when
// it is drawn again, and what cannot be drawn leaves the post without a picture.
func TestDrawnAgain(t *testing.T) {
	scene := picture.Dice{Title: "Ann", Alt: "12d6", Throws: []picture.Throw{{Sides: 6, Good: picture.Group{Number: "2", Faces: []int{6, 5}}}}}
	r := drawn(scene, "roll3")
	if len(r) != 1 || r[0].Name != "roll3.png" || r[0].Alt != "12d6" {
		t.Fatalf("%+v", r)
	}
	one, err := makers[r[0].Kind](t.Context(), nil, r[0])
	if err != nil {
		t.Fatal(err)
	}
	two, err := makers[r[0].Kind](t.Context(), nil, r[0])
	if err != nil || string(one) != string(two) || !strings.HasPrefix(string(one), "\x89PNG") {
		t.Errorf("drawn again it is another picture, %v", err)
	}
	if r := drawn(picture.Dice{Alt: "no dice"}, "nothing"); r != nil {
		t.Errorf("%+v", r)
	}
}
