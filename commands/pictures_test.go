package commands

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumhead/commands/chat"
	"drumhead/commands/picture"
	"drumhead/commands/words"
	"drumhead/storage"
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

// TestRollPictures: every die that counts lies in the picture, none more, and the
// words for who cannot see it tell each.
func TestRollPictures(t *testing.T) {
	tb := newTable(t)
	tb.say("Cy", "#cam", "/settings dice pictures always")
	for _, text := range []string{"12d6 4+", "20d6 3+, 4+, save 5+ for the bridge", "best 2 of 3d6", "d66", "2d6+1", "2d6-d3+1", "2d6 against 3d6", "3 times 2d6",
		"6d6 4+ against 5d6 5+", "6d6 4+, save 5+, damage d3, last save 6+, into 5 of 3", "5d20 12 or less", "3d6 open-ended", "200d6 5+", "d100"} {
		tb.say("Flo", "#cam", "/roll "+text)
		p := tb.posts[len(tb.posts)-1]
		if len(p.Pictures) != 1 {
			t.Errorf("%s: %d pictures", text, len(p.Pictures))
			continue
		}
		var scene picture.Dice
		if err := json.Unmarshal([]byte(p.Pictures[0].Value), &scene); err != nil {
			t.Fatal(err)
		}
		var shown, fell []int
		for _, v := range scene.Throws {
			shown = append(append(shown, v.Good.Faces...), v.Rest.Faces...)
		}
		rec, err := storage.Parse(tb.entries("#cam")[p.Entry])
		if err != nil {
			t.Fatal(err)
		}
		for _, group := range rec.Faces {
			fell = append(fell, group[1:]...) // the first is the sides
		}
		slices.Sort(shown)
		slices.Sort(fell)
		if !slices.Equal(shown, fell) {
			t.Errorf("%s: the picture shows %v, what fell is %v", text, shown, fell)
		}
		if _, err := tb.desk.Make(t.Context(), p.Pictures[0]); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
	tb.say("Flo", "#cam", "/roll 30d6 4+ reroll misses")
	p := tb.posts[len(tb.posts)-1]
	var scene picture.Dice
	if err := json.Unmarshal([]byte(p.Pictures[0].Value), &scene); err != nil {
		t.Fatal(err)
	}
	if n := len(scene.Throws[0].Good.Faces) + len(scene.Throws[0].Rest.Faces); n != 30 {
		t.Errorf("of 30 dice, some rolled again, %d are shown", n)
	}
}

// TestPictureSettings: only an organiser settles when dice are drawn; on wish is
// with /explain, never is never.
func TestPictureSettings(t *testing.T) {
	tb := newTable(t)
	tb.say("Flo", "#cam", "/roll 12d6 4+")
	last := func() chat.Post { return tb.posts[len(tb.posts)-1] }
	if n := len(last().Pictures); n != 0 {
		t.Errorf("%d pictures that nobody wished for", n)
	}
	tb.say("Flo", "#cam", "/explain")
	if n := len(last().Pictures); n != 1 {
		t.Errorf("%d pictures with /explain", n)
	}
	if tb.say("Flo", "#cam", "/settings dice pictures never"); last().Error == "" {
		t.Error("anybody may settle it")
	}
	if tb.say("Cy", "#cam", "/settings dice pictures at times"); last().Error == "" {
		t.Error("at times is no time")
	}
	tb.say("Cy", "#cam", "/settings dice pictures never")
	tb.say("Flo", "#cam", "/explain")
	if n := len(last().Pictures); n != 0 {
		t.Errorf("%d pictures where there shall be none", n)
	}
	wants(t, tb.say("Cy", "#cam", "/settings dice"), "Dice are never drawn here.")
	tb.say("Cy", "#cam", "/settings dice pictures on wish")
	wants(t, tb.say("Cy", "#cam", "/settings dice sealed"), "Pictures of dice come with /explain.")
}

// TestReportCharts: a report comes with the charts that it shows, and each can be
// made, again and again the same, with words for who cannot see it.
func TestReportCharts(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; done")
	tb.say("Ann", "#fen", "/battle report")
	files := tb.posts[len(tb.posts)-1].Files
	if len(files) != 3 {
		t.Fatalf("%d files", len(files))
	}
	page, err := tb.desk.Make(t.Context(), files[0])
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files[1:] {
		chart, err := tb.desk.Make(t.Context(), f)
		if err != nil {
			t.Fatal(err)
		}
		again, err := tb.desk.Make(t.Context(), f)
		if err != nil || string(again) != string(chart) {
			t.Errorf("%s made again is another picture, %v", f.Name, err)
		}
		title := regexp.MustCompile(`<title>(.*?)</title>`).FindSubmatch(chart)
		if title == nil || !strings.Contains(string(page), "!["+string(title[1])+"]("+f.Name+")") {
			t.Errorf("the page does not show %s with the words %q:\n%s", f.Name, title, page)
		}
	}
}
