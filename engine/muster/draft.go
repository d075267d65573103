package muster

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Draft is a force as it was handed in, right or wrong.
type Draft struct {
	Pack  string `json:"pack,omitempty"` // id of the game; "" for the first one
	Name  string `json:"name,omitempty"`
	Army  string `json:"army,omitempty"`  // id, where a file says it
	Limit int    `json:"limit,omitempty"` // points; 0: none was said
	Lines []Line `json:"lines,omitempty"`
}

// Line is one unit of a draft.
type Line struct {
	Number int    `json:"number"`          // the line that it stands on; it stays the same
	Said   string `json:"said,omitempty"`  // the name of the unit as said
	Count  int    `json:"count,omitempty"` // models; 0: not said
	Kind   string `json:"kind,omitempty"`  // id of the unit, "" if the name is not settled
	Own    string `json:"own,omitempty"`   // a name of its own
}

// Example is a force that can be read.
const Example = "/force add Weir Militia, 500 points; 10 Pikes; 10 Crossbows; Marram"

// ReadSaid reads a force as one says it: the first line its name and points,
// then a unit a line: "12 Pikes", "Pikes x12", "12 Pikes as Old Guard". It
// refuses only what cannot be read at all; wrong names and numbers are for
// Judge.
func ReadSaid(p *rules.Pack, text string) (Draft, error) {
	if err := readable(text); err != nil {
		return Draft{}, err
	}
	var d Draft
	for i, line := range strings.Split(text, "\n") {
		line = unbullet(tidy(line))
		if line == "" {
			continue
		}
		if d.Name == "" && d.Limit == 0 && len(d.Lines) == 0 && d.header(p, line) {
			continue
		}
		unit, err := readLine(p, line)
		if err != nil {
			return Draft{}, at(err, i+1)
		}
		unit.Number = i + 1
		if d.Lines = append(d.Lines, unit); len(d.Lines) > MostUnits {
			return Draft{}, reason.Refuse(Example, "force.refuse.units", "most", MostUnits)
		}
	}
	if err := d.affordable(); err != nil {
		return Draft{}, err
	}
	if tooLong(d.Name) {
		return Draft{}, reason.Refuse(Example, "force.refuse.name", "name", reason.Name(clip(d.Name)), "most", MostName)
	}
	return d, nil
}

// readable refuses what is no text of a force.
func readable(text string) error {
	switch {
	case len(text) > MostBytes:
		return reason.Refuse(Example, "force.refuse.big", "size", (len(text)+1023)/1024, "most", MostBytes/1024)
	case !utf8.ValidString(text):
		return reason.Refuse(Example, "force.refuse.utf8")
	}
	for i, line := range strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n") {
		for _, r := range line {
			if unicode.IsControl(r) && r != '\t' {
				return at(reason.Refuse(Example, "force.refuse.control", "line", i+1, "code", int(r)), i+1)
			}
		}
	}
	return nil
}

// at puts the line into a refusal.
func at(err error, line int) error {
	if r, ok := err.(*reason.Refusal); ok {
		r.Line = line
	}
	return err
}

func tooLong(name string) bool { return utf8.RuneCountInString(name) > MostName }

// unbullet takes the mark of a list off.
func unbullet(line string) string {
	for _, mark := range []string{"- ", "* ", "• ", "· "} {
		line = strings.TrimPrefix(line, mark)
	}
	return line
}

// header reads "Weir Militia, 500 points" into the draft. A line that is a unit
// of the pack is none.
func (d *Draft) header(p *rules.Pack, line string) bool {
	name, points, said := pointsOf(line)
	if !said {
		if unit, err := readLine(p, line); startsWithDigit(line) || err == nil && unit.Kind != "" {
			return false
		}
		if rest, n, counted := countLast(line); counted {
			name, points = rest, n
		}
	}
	d.Name, d.Limit = strings.Trim(name, " ,:;-"), points
	return d.Name != "" || d.Limit > 0
}

// pointsOf takes "500 points" (also "pts") off the end of a line.
func pointsOf(line string) (rest string, points int, said bool) {
	for _, word := range []string{"points", "point", "pts", "pts.", "pt"} {
		head, cut := cutSuffixFold(line, word)
		if !cut {
			continue
		}
		if rest, n, counted := countLast(strings.TrimSpace(head)); counted {
			return rest, n, true
		}
	}
	return line, 0, false
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if len(s) < len(suffix) || !strings.EqualFold(s[len(s)-len(suffix):], suffix) {
		return s, false
	}
	return s[:len(s)-len(suffix)], true
}

// readLine reads "12 Pikes", "12x Pikes", "Pikes 12", "Pikes x12", "Pikes (12)",
// "Pikes", each perhaps with "as" and a name of its own.
func readLine(p *rules.Pack, line string) (Line, error) {
	name, own := cutOwn(line)
	if open := strings.LastIndexByte(name, '('); open > 0 && strings.HasSuffix(name, ")") {
		if rest, n, counted := countFirst(name[open+1 : len(name)-1]); counted && rest == "" && n > 0 {
			name = name[:open] + " " + strconv.Itoa(n)
		}
	}
	if tooLong(own) {
		return Line{}, reason.Refuse("12 Pikes as Old Guard", "force.refuse.name", "name", reason.Name(clip(own)), "most", MostName)
	}
	unit := Line{Own: own}
	if rest, n, counted := countFirst(name); counted {
		name, unit.Count = rest, n
	} else if rest, n, counted := countLast(name); counted {
		name, unit.Count = rest, n
	}
	unit.Said = strings.Trim(name, " ,:;")
	if unit.Said == "" || unit.Count > maxCount {
		return Line{}, reason.Refuse("12 Pikes", "force.refuse.line", "line", reason.Name(clip(line)))
	}
	if u := mean(p, unit.Said).one(); u != nil {
		unit.Kind = u.ID
	}
	unit.Said = clip(unit.Said)
	return unit, nil
}

// maxCount keeps numbers that mean nothing out of sums.
const maxCount = 9999

// cutOwn takes the name of its own off: "12 Pikes as Old Guard".
func cutOwn(line string) (name, own string) {
	lower := strings.ToLower(line)
	if i := strings.Index(lower, " as "); i > 0 && len(lower) == len(line) {
		return strings.TrimSpace(line[:i]), strings.Trim(line[i+len(" as "):], ` "'`)
	}
	return line, ""
}

// countFirst reads a number at the begin: "12 Pikes", "12x Pikes", "12 x Pikes".
func countFirst(s string) (rest string, n int, ok bool) {
	end := strings.IndexFunc(s+" ", func(r rune) bool { return r < '0' || r > '9' })
	if end == 0 {
		return s, 0, false
	}
	n, err := strconv.Atoi(s[:end])
	if err != nil {
		n = math.MaxInt32
	}
	rest = strings.TrimSpace(s[end:])
	for _, times := range []string{"x ", "X "} {
		rest = strings.TrimPrefix(rest, times)
	}
	return strings.TrimSpace(rest), n, true
}

// countLast reads a number at the end: "Pikes 12", "Pikes x12".
func countLast(s string) (rest string, n int, ok bool) {
	start := strings.LastIndexFunc(s, func(r rune) bool { return r < '0' || r > '9' }) + 1
	if start == len(s) {
		return s, 0, false
	}
	n, err := strconv.Atoi(s[start:])
	if err != nil {
		n = math.MaxInt32
	}
	rest = strings.TrimSpace(s[:start])
	for _, times := range []string{" x", " X"} {
		rest = strings.TrimSuffix(rest, times)
	}
	return strings.TrimRight(rest, " ,"), n, true
}

func startsWithDigit(s string) bool { return s != "" && s[0] >= '0' && s[0] <= '9' }
