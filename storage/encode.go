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
	w.text("head", r.Head.String())
	w.text("key", r.Key)
	w.text("ledger", r.Ledger.String())
	w.text("player", r.Player)
	w.text("seal", r.Seal)
	w.number("seq", r.Seq)
	w.text("source", r.Source)
	w.text("time", FormatTime(r.Time))
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
	t, err := time.Parse(timeForm, s)
	if err != nil || FormatTime(t) != s {
		return time.Time{}, invalid(RuleTime, "time", "%.40q: a day that there is, as 2026-10-24T18:00:00.000Z, expected", s)
	}
	return t.UTC(), nil
}

// isHex tells whether s is n bytes in lower-case hex.
func isHex(s string, n int) bool {
	if len(s) != 2*n {
		return false
	}
	b, err := hex.DecodeString(s)
	return err == nil && hex.EncodeToString(b) == s
}
