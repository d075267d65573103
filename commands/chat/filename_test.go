package chat

import (
	"strings"
	"testing"
)

func TestFileName(t *testing.T) {
	long := strings.Repeat("x", 300)
	for in, want := range map[string]string{
		"": "file", "..": "file", ".hidden": "hidden", "a/b\\c": "a-b-c", "fen \u202eturn.jsonl": "fen--turn.jsonl",
		long + ".toml": long[:95] + ".toml", long + "." + long: long[:100],
	} {
		if name := FileName(in); name != want {
			t.Errorf("%.20q: %q, want %q", in, name, want)
		}
	}
}
