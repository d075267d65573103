package args

import (
	"strconv"
	"strings"
)

// Values are the parameters of one command as typed, by the name of the
// parameter. One that was left out is not in it.
//
// A Number is decimal digits. An Entry is "210" or "210.3". What names
// something (Person, Unit, Region, Scenario, Saved) is spelled as it is known
// here if it is known. A Sentence has the keyboard's quotes and dashes; a Sheet and a
// Force have plain spaces, and are else as said, like Words: who reads them
// reads what phones make of them.
type Values map[string]string

// Number is a parameter that holds a whole number; false if it was left out.
func (v Values) Number(name string) (int, bool) {
	n, err := strconv.Atoi(v[name])
	return n, err == nil
}

// Entry is a parameter that names an entry, and its part or 0 for the whole;
// false if it was left out.
func (v Values) Entry(name string) (seq uint64, part int, ok bool) {
	whole, dotted, _ := strings.Cut(v[name], ".")
	seq, err := strconv.ParseUint(whole, 10, 63)
	if err != nil {
		return 0, 0, false
	}
	part, _ = strconv.Atoi(dotted)
	return seq, part, true
}

// Lines are the lines of a parameter that holds several, without empty ones;
// ';' ends a line too.
func (v Values) Lines(name string) []string {
	var out []string
	for _, line := range strings.FieldsFunc(v[name], func(r rune) bool { return r == '\n' || r == ';' }) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}
