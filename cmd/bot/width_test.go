package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"drumhead/commands/chat"
)

// copied is what a reader copies or taps and never reads across: a command to
// be typed, a hash or key, the row of choices, the name of a file, the words
// for a picture.
var copied = regexp.MustCompile(`^(Example: |  )?/|^[0-9a-zA-Z+/=]{40,}$|^(@\S+ )?\[|^\((file|picture)`)

// columnsIn finds columns: two spaces side by side behind the first word.
var columnsIn = regexp.MustCompile(`\S  `)

// TestPostsFitAPhone: no post of any chat script has a line of more than 60
// characters, or a line in columns of more than 40, since phones wrap there.
func TestPostsFitAPhone(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(chats, "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d scripts: %v", len(files), err)
	}
	lines := 0
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(b), "\n") {
			text, post := strings.CutPrefix(line, "| ")
			if !post || copied.MatchString(text) {
				continue
			}
			lines++
			most := chat.Width
			if columnsIn.MatchString(text) {
				most = chat.Columns
			}
			if n := utf8.RuneCountInString(text); n > most {
				t.Errorf("%s:%d: %d characters, %d are the most: %s", filepath.Base(file), i+1, n, most, text)
			}
		}
	}
	if lines < 500 {
		t.Errorf("only %d lines of posts found: the search is broken", lines)
	}
}
