package storage

import (
	"encoding/hex"
	"strconv"
	"time"
)

// Encode writes an entry in canonical form. It refuses with an *Invalid what
// Parse would not read: members that do not go together, a spelling that is
// not the one, more than MaxEntry bytes. Nothing is checked against other
// entries; that is a verifier's work.
func (r Record) Encode() ([]byte, error) {
	if r.Args == nil {
		r.Args = Object("{}")
	}
	if err := r.check(); err != nil {
		return nil, err
	}
	w := entryWriter{b: make([]byte, 0, 1024)}
	r.write(&w)
	b := append(w.b, '}')
	if len(b) > MaxEntry {
		return nil, invalid(RuleJSON, "", "%d bytes, at most %d expected", len(b), MaxEntry)
	}
	return b, nil
}

// write puts the members down in order of name.
func (r *Record) write(w *entryWriter) {
	if r.Again != nil {
		w.name("again")
		w.b = append(append(w.b, `{"after":`...), strconv.Itoa(r.Again.After)...)
		w.b = append(strconv.AppendUint(append(w.b, `,"of":`...), r.Again.Of, 10), '}')
	}
	w.name("args")
	w.b = append(w.b, r.Args...)
	w.text("command", r.Command)
	w.text("cut", r.Cut)
	if r.Draw > 0 {
		w.number("draw", r.Draw)
	}
	w.events(r.Events)
	w.faces(r.Faces)
	w.name("head")
	w.b = append(hex.AppendEncode(append(w.b, '"'), r.Head[:]), '"')
	w.text("key", r.Key)
	w.text("ledger", r.Ledger.String())
	w.text("player", r.Player)
	w.text("seal", r.Seal)
	w.number("seq", r.Seq)
	w.text("source", r.Source)
	w.name("time")
	w.b = append(r.Time.UTC().AppendFormat(append(w.b, '"'), timeForm), '"')
	w.number("v", 1)
	if r.Wait != nil {
		w.wait(r.Wait)
	}
}

// entryWriter writes the members of one entry.
type entryWriter struct{ b []byte }

func (w *entryWriter) name(name string) {
	c := byte(',')
	if len(w.b) == 0 {
		c = '{'
	}
	w.b = append(append(append(w.b, c, '"'), name...), '"', ':')
}

// text writes a member whose letters need no escape, if it is there.
func (w *entryWriter) text(name, s string) {
	if s != "" {
		w.name(name)
		w.b = append(append(append(w.b, '"'), s...), '"')
	}
}

func (w *entryWriter) number(name string, n uint64) {
	w.name(name)
	w.b = strconv.AppendUint(w.b, n, 10)
}

func (w *entryWriter) events(events []Object) {
	if events == nil {
		return
	}
	w.name("events")
	w.b = append(w.b, '[')
	for i, e := range events {
		if i > 0 {
			w.b = append(w.b, ',')
		}
		w.b = append(w.b, e...)
	}
	w.b = append(w.b, ']')
}

func (w *entryWriter) faces(faces [][]int) {
	if faces == nil {
		return
	}
	w.name("faces")
	w.b = append(w.b, '[')
	for i, run := range faces {
		if i > 0 {
			w.b = append(w.b, ',')
		}
		for j, n := range run {
			c := byte(',')
			if j == 0 {
				c = '['
			}
			w.b = strconv.AppendInt(append(w.b, c), int64(n), 10)
		}
		w.b = append(w.b, ']')
	}
	w.b = append(w.b, ']')
}

func (w *entryWriter) wait(wait *Wait) {
	w.name("wait")
	if wait.By == "" {
		w.b = append(strconv.AppendUint(append(w.b, `{"round":`...), wait.Round, 10), '}')
		return
	}
	w.b = append(append(append(w.b, `{"by":"`...), wait.By...), `","until":"`...)
	w.b = append(append(w.b, FormatTime(wait.Until)...), `"}`...)
}

// timeForm is RFC 3339 with milliseconds, in UTC.
const timeForm = "2006-01-02T15:04:05.000Z"

// FormatTime spells a time as entries do: RFC 3339, UTC, milliseconds.
func FormatTime(t time.Time) string { return t.UTC().Format(timeForm) }

// ParseTime reads the spelling of FormatTime, and no other.
func ParseTime(s string) (time.Time, error) {
	t, ok := timeOf(s)
	if !ok {
		return time.Time{}, invalid(RuleTime, "time", "%.40q: a day that there is, as 2026-10-24T18:00:00.000Z, expected", s)
	}
	return t, nil
}

// timeOf reads a time by the places of its digits: of all that a ledger's entries hold
// it is what general code is slowest at.
func timeOf(s string) (time.Time, bool) {
	if len(s) != len(timeForm) {
		return time.Time{}, false
	}
	for i := range len(s) {
		if c := timeForm[i]; c >= '0' && c <= '9' {
			if s[i] < '0' || s[i] > '9' {
				return time.Time{}, false
			}
		} else if s[i] != c {
			return time.Time{}, false
		}
	}
	n := func(from, to int) (n int) {
		for _, c := range []byte(s[from:to]) {
			n = 10*n + int(c-'0')
		}
		return n
	}
	year, month, day := n(0, 4), n(5, 7), n(8, 10)
	hour, minute, second := n(11, 13), n(14, 16), n(17, 19)
	t := time.Date(year, time.Month(month), day, hour, minute, second, n(20, 23)*int(time.Millisecond), time.UTC)
	y, m, d := t.Date() // a day that there is not would have become another
	return t, y == year && int(m) == month && d == day && hour < 24 && minute < 60 && second < 60
}

// isHex tells whether s is n bytes in lower-case hex.
func isHex(s string, n int) bool {
	if len(s) != 2*n {
		return false
	}
	bad := byte(0)
	for i := range len(s) {
		bad |= hexValue[s[i]]
	}
	return bad < 16
}

// hexValue is what a lower-case hex digit stands for; 255 for any other letter.
var hexValue = func() (value [256]byte) {
	for i := range value {
		value[i] = 255
	}
	for i, c := range []byte("0123456789abcdef") {
		value[c] = byte(i)
	}
	return value
}()
