package terminal

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode"

	"drumhead/commands/chat"
)

func TestWrap(t *testing.T) {
	for _, c := range []struct {
		line string
		room int
		want []string
	}{
		{"short", 30, []string{"short"}},
		{"one two three four five six seven", 20, []string{"one two three four", "five six seven"}},
		{"  a line that goes on with the one above it", 20, []string{"  a line that goes", "on with the one", "above it"}},
		{"12 Weir Pikes at 9          108", 20, []string{"12 Weir Pikes at 9          108"}},
		{"one two three four five six seven", 3, []string{"one two three four five six seven"}},
		{"averyveryverylongwordthatfitsnowhere and more", 20, []string{"averyveryverylongwordthatfitsnowhere", "and more"}},
		// Wide letters take two columns each (Unicode UAX #11).
		{"漢字漢字漢字 漢字漢字漢字", 20, []string{"漢字漢字漢字", "漢字漢字漢字"}},
		{"", 30, []string{""}},
	} {
		if got := wrap(c.line, c.room); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q at %d: %q, want %q", c.line, c.room, got, c.want)
		}
	}
}

func TestHarmless(t *testing.T) {
	for in, want := range map[string]string{
		"plain · “words” ½ é 👩‍🌾": "plain · “words” ½ é 👩‍🌾",
		"\x1b[31mred\x1b[0m":      "<U+001B>[31mred<U+001B>[0m",
		"a\u202eb\u2069":          "a<U+202E>b<U+2069>",
		"two\nlines\tand":         "two lines and",
		"\u2028\ufeff\u009b":      "<U+2028><U+FEFF><U+009B>",
		"\U000E0041":              "<U+E0041>",
	} {
		if got := harmless(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func FuzzHarmless(f *testing.F) {
	f.Add("\x1b]0;title\a \u202e \r\n")
	f.Fuzz(func(t *testing.T, s string) {
		got := harmless(s)
		if i := strings.IndexFunc(got, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }); i >= 0 {
			t.Fatalf("%q became %q", s, got)
		}
		if harmless(got) != got {
			t.Fatalf("%q is changed twice", s)
		}
	})
}

// Files keep a safe name, are never written over, and lie there once.
func TestKeep(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "files")
	var got []string
	for _, b := range []string{"one", "two", "one", "two", "three"} {
		path, err := keep(dir, chat.FileName("../fen turn.jsonl"), []byte(b))
		if err != nil {
			t.Fatal(err)
		}
		if have, err := os.ReadFile(path); err != nil || string(have) != b {
			t.Fatalf("%s holds %q, %v", path, have, err)
		}
		got = append(got, filepath.Base(path))
	}
	if want := []string{"fen-turn.jsonl", "fen-turn-2.jsonl", "fen-turn.jsonl", "fen-turn-2.jsonl", "fen-turn-3.jsonl"}; !reflect.DeepEqual(got, want) {
		t.Errorf("names %q, want %q", got, want)
	}
}
