package chat

import (
	"path"
	"strings"
)

// Bounds of a file's name.
const (
	longestName = 100
	longestEnd  = 10 // of its last part, with the dot, which stays when the name is cut
)

// FileName keeps of a name what is safe as a file's name everywhere.
func FileName(name string) string {
	safe := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, name)
	if safe = strings.TrimLeft(safe, ".-"); safe == "" {
		safe = "file"
	}
	if len(safe) > longestName {
		ext := path.Ext(safe)
		if len(ext) > longestEnd {
			ext = ""
		}
		safe = safe[:longestName-len(ext)] + ext
	}
	return safe
}
