package campaign

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumhead/engine/reason"

	"github.com/pelletier/go-toml/v2"
)

// written is a campaign file as it stands there. Pointers tell what was left out.
type written struct {
	Title     string `toml:"title"`
	RoundDays *int   `toml:"round_days"`
	Regions   []struct {
		ID    string `toml:"id"`
		Title string `toml:"title"`
		Home  string `toml:"home"`
		X     *int   `toml:"x"`
		Y     *int   `toml:"y"`
	} `toml:"region"`
	Links []struct {
		Between []string `toml:"between"`
		By      string   `toml:"by"`
	} `toml:"link"`
	River  [][]int `toml:"river"`
	Grades []struct {
		ID   string `toml:"id"`
		From *int   `toml:"from"`
	} `toml:"grade"`
	Experience *struct {
		Fought int `toml:"fought"`
		Broke  int `toml:"broke"`
		Won    int `toml:"won"`
		Fell   int `toml:"fell"`
	} `toml:"experience"`
}

// Parse reads a campaign file. Every fault is a *reason.Refusal with the slots
// line and column, counted from 1 (column in bytes), and one example that works.
func Parse(b []byte) (*File, error) {
	if len(b) > MaxFile {
		return nil, reason.Refuse("", "campaign.file.large", "kilobytes", (len(b)+1023)>>10, "most", MaxFile>>10)
	}
	if !utf8.Valid(b) {
		return nil, reason.Refuse("", "campaign.file.text", "line", 1+bytes.Count(b[:firstBad(b)], []byte("\n")))
	}
	var w written
	if err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(&w); err != nil {
		return nil, spelling(err)
	}
	sum := sha256.Sum256(b)
	r := reader{at: locate(b), file: &File{SHA256: hex.EncodeToString(sum[:])}}
	for _, read := range []func(*written) error{r.head, r.regions, r.homes, r.links, r.river, r.joined, r.grades, r.experience} {
		if err := read(&w); err != nil {
			return nil, err
		}
	}
	return r.file, nil
}

// firstBad is the place of the first byte that is no UTF-8.
func firstBad(b []byte) int {
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return len(b)
}

// spelling turns an error of the TOML library into ours.
func spelling(err error) error {
	var unknown *toml.StrictMissingError
	var bad *toml.DecodeError
	switch {
	case errors.As(err, &unknown) && len(unknown.Errors) > 0:
		line, column := unknown.Errors[0].Position()
		return reason.Refuse("", "campaign.file.unknown", "line", line, "column", column,
			"key", reason.Name(strings.Join(unknown.Errors[0].Key(), ".")))
	case errors.As(err, &bad):
		line, column := bad.Position()
		return reason.Refuse("", "campaign.file.spelling", "line", line, "column", column,
			"why", reason.Name(strings.TrimPrefix(bad.Error(), "toml: ")))
	}
	return reason.Refuse("", "campaign.file.spelling", "line", 1, "column", 1,
		"why", reason.Name(strings.TrimPrefix(err.Error(), "toml: ")))
}

// reader checks a file part by part and builds it up.
type reader struct {
	at   positions
	file *File
}

// fault is a refusal that says where in the file it is about.
func (r *reader) fault(where, example, id string, pairs ...any) error {
	at, ok := r.at[where]
	if !ok { // a key that is missing: show what it is missing from
		at = r.at[where[:max(strings.LastIndexByte(where, '/'), 0)]]
	}
	pairs = append(pairs, "line", max(at.Line, 1), "column", max(at.Column, 1))
	return reason.Refuse(example, "campaign.file."+id, pairs...)
}

// part spells "region/3/title".
func part(list string, i int, key ...string) string {
	return strings.Join(append([]string{list, strconv.Itoa(i)}, key...), "/")
}

// number checks a value against its range; nil stands for the usual one.
func (r *reader) number(where string, v *int, usual, least, most int) (int, error) {
	if v == nil {
		return usual, nil
	}
	if *v < least || *v > most {
		name := where[strings.LastIndexByte(where, '/')+1:]
		return 0, r.fault(where, name+" = "+strconv.Itoa(max(usual, least)), "number",
			"key", name, "value", *v, "least", least, "most", most)
	}
	return *v, nil
}

// name checks a name that people read and type.
func (r *reader) name(where, s, example string) error {
	switch {
	case s == "":
		return r.fault(where, example, "missing", "key", where[strings.LastIndexByte(where, '/')+1:])
	case utf8.RuneCountInString(s) > MaxName:
		return r.fault(where, example, "long", "name", reason.Name(s), "most", MaxName)
	case !readable(s):
		return r.fault(where, example, "name", "name", reason.Name(s))
	}
	return nil
}

// readable tells whether a name is letters, digits, single spaces and a few marks.
func readable(s string) bool {
	if strings.TrimSpace(s) != s || strings.Contains(s, "  ") {
		return false
	}
	for _, c := range s {
		if !unicode.IsLetter(c) && !unicode.IsMark(c) && !unicode.IsDigit(c) && !strings.ContainsRune(" -'’.", c) {
			return false
		}
	}
	return true
}

// id checks what stands in entries: lower-case letters and digits in words.
func (r *reader) id(where, s, example string) error {
	if s == "" {
		return r.fault(where, example, "missing", "key", "id")
	}
	if !ValidID(s) {
		return r.fault(where, example, "id", "name", reason.Name(s), "most", MaxName)
	}
	return nil
}

// ValidID tells whether s may name a region or a grade in an entry: 1 to
// MaxName of a-z and 0-9, in words parted by one space or hyphen, a letter first.
func ValidID(s string) bool {
	if s == "" || len(s) > MaxName || s[0] < 'a' || s[0] > 'z' {
		return false
	}
	for i := range len(s) {
		c := s[i]
		gap := c == ' ' || c == '-'
		if !gap && (c < 'a' || c > 'z') && (c < '0' || c > '9') {
			return false
		}
		if gap && (i == len(s)-1 || s[i+1] == ' ' || s[i+1] == '-') {
			return false
		}
	}
	return true
}
