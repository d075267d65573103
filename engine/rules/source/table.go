package source

import (
	"slices"
	"strings"

	"drumhead/engine/reason"
)

// Table is one table of the file. Its methods ask for keys; a key that was
// never asked for is a fault when the table is closed.
type Table struct {
	log    *log
	at     Place
	order  []string // keys as the file has them
	values map[string]*value
	asked  map[string]bool
	known  []string // asked, in the order of asking
}

func (t *Table) put(key string, v *value) {
	if _, twice := t.values[key]; !twice {
		t.order = append(t.order, key)
	}
	t.values[key] = v
}

// Place is where the table begins: its header, or its key.
func (t *Table) Place() Place { return t.at }

// At is where the key stands, or the table when it does not.
func (t *Table) At(key string) Place {
	if v := t.values[key]; v != nil {
		return v.at
	}
	return t.at
}

// Keys are the keys of the table in the order of the file.
func (t *Table) Keys() []string { return t.order }

// Has tells whether the key is there, and counts as asking for it.
func (t *Table) Has(key string) bool { return t.ask(key) != nil }

// Fault notes a fault at a key (at the table itself if the key is missing).
func (t *Table) Fault(key string, why reason.Reason) { t.log.note(t.At(key), why) }

// FaultAt notes a fault at a place.
func (t *Table) FaultAt(at Place, why reason.Reason) { t.log.note(at, why) }

// Faults is everything noted in the whole file so far, as a *Faults sorted by
// place, or nil.
func (t *Table) Faults() error { return t.log.faults() }

// Close notes every key that was never asked for, with the nearest known one.
func (t *Table) Close() {
	for _, key := range t.order {
		if t.asked[key] {
			continue
		}
		t.log.note(t.values[key].at, Unknown("file.key", key, t.known))
	}
}

// Unknown is the reason that a word is none of the known ones: ID+".near" with
// the nearest when it looks like a slip, else ID+".unknown" with all of them.
func Unknown(id, word string, known []string) reason.Reason {
	if near := Nearest(word, known); near != "" {
		return reason.New(id+".near", "word", word, "near", near)
	}
	return reason.New(id+".unknown", "word", word, "known", slices.Clone(known))
}

func (t *Table) ask(key string) *value {
	if !t.asked[key] {
		t.asked[key] = true
		t.known = append(t.known, key)
	}
	return t.values[key]
}

// want asks for a key that must be there.
func (t *Table) want(key string) *value {
	v := t.ask(key)
	if v == nil {
		t.log.note(t.at, reason.New("file.missing", "key", key))
	}
	return v
}

// wrong notes that a value is not of the kind expected; expected is the id of
// the words for that kind.
func (t *Table) wrong(key string, v *value, expected string) {
	t.log.note(v.at, reason.New("file.wrong."+expected, "key", key))
}

// Text asks for a text of 1 to most characters that must be there.
func (t *Table) Text(key string, most int) string {
	v := t.want(key)
	if v == nil {
		return ""
	}
	return t.textOf(key, v, most)
}

// TextOr asks for a text that may be left out.
func (t *Table) TextOr(key string, most int, otherwise string) string {
	v := t.ask(key)
	if v == nil {
		return otherwise
	}
	return t.textOf(key, v, most)
}

func (t *Table) textOf(key string, v *value, most int) string {
	if v.kind != text {
		t.wrong(key, v, "text")
		return ""
	}
	length := len([]rune(v.text))
	switch {
	case strings.TrimSpace(v.text) == "":
		t.log.note(v.at, reason.New("file.empty", "key", key))
		return ""
	case length > most:
		t.log.note(v.at, reason.New("file.long", "key", key, "length", length, "most", most))
		return ""
	case strings.ContainsFunc(v.text, isUnseen):
		t.log.note(v.at, reason.New("file.unseen", "key", key))
		return ""
	}
	return v.text
}

// OneOf asks for a word of a closed set that must be there; a wrong word gives "".
func (t *Table) OneOf(key string, set []string) string {
	if t.ask(key) == nil {
		t.log.note(t.at, reason.New("file.missing_word", "key", key, "known", slices.Clone(set)))
		return ""
	}
	return t.oneOf(key, set)
}

// OneOfOr asks for a word of a closed set that may be left out.
func (t *Table) OneOfOr(key string, set []string, otherwise string) string {
	if t.ask(key) == nil {
		return otherwise
	}
	return t.oneOf(key, set)
}

func (t *Table) oneOf(key string, set []string) string {
	v := t.values[key]
	if v.kind != text {
		t.wrong(key, v, "text")
		return ""
	}
	if !t.inSet(key, v, set) {
		return ""
	}
	return v.text
}

// inSet notes a word that is none of the set.
func (t *Table) inSet(key string, v *value, set []string) bool {
	if slices.Contains(set, v.text) {
		return true
	}
	why := Unknown("file.word", v.text, set)
	why.Args = append(why.Args, reason.Arg{Name: "key", Value: key})
	t.log.note(v.at, why)
	return false
}

// OneOfEach asks for a list of words of a closed set, which may be left out; at
// tells where each one stands.
func (t *Table) OneOfEach(key string, set []string) (words []string, at []Place) {
	for _, v := range t.items(key, "texts") {
		switch {
		case v.kind != text:
			t.wrong(key, v, "texts")
		case t.inSet(key, v, set):
			words, at = append(words, v.text), append(at, v.at)
		}
	}
	return words, at
}

// Number asks for a whole number from least to most that must be there; a
// wrong one gives least.
func (t *Table) Number(key string, least, most int) int {
	v := t.want(key)
	if v == nil {
		return least
	}
	return t.numberOf(key, v, least, most)
}

// NumberOr asks for a whole number that may be left out.
func (t *Table) NumberOr(key string, least, most, otherwise int) int {
	v := t.ask(key)
	if v == nil {
		return otherwise
	}
	return t.numberOf(key, v, least, most)
}

func (t *Table) numberOf(key string, v *value, least, most int) int {
	if v.kind != number {
		t.wrong(key, v, "number")
		return least
	}
	if v.number < int64(least) || v.number > int64(most) {
		t.log.note(v.at, reason.New("file.range", "key", key, "value", v.number, "least", least, "most", most))
		return least
	}
	return int(v.number)
}

// Truth asks for true or false, which may be left out.
func (t *Table) Truth(key string, otherwise bool) bool {
	v := t.ask(key)
	if v == nil {
		return otherwise
	}
	if v.kind != truth {
		t.wrong(key, v, "truth")
		return otherwise
	}
	return v.truth
}

// Names asks for a list of texts, which may be left out; at tells where each
// one stands.
func (t *Table) Names(key string) (names []string, at []Place) {
	for _, v := range t.items(key, "texts") {
		if v.kind != text {
			t.wrong(key, v, "texts")
			continue
		}
		names, at = append(names, v.text), append(at, v.at)
	}
	return names, at
}

// Numbers asks for a list of whole numbers from least to most, which may be
// left out.
func (t *Table) Numbers(key string, least, most int) []int {
	var all []int
	for _, v := range t.items(key, "numbers") {
		if v.kind != number {
			t.wrong(key, v, "numbers")
			continue
		}
		all = append(all, t.numberOf(key, v, least, most))
	}
	return all
}

// Pair asks for two whole numbers, the first not above the second, that must
// be there, such as [5, 20].
func (t *Table) Pair(key string, least, most int) (low, high int) {
	v := t.want(key)
	if v == nil {
		return least, least
	}
	if v.kind != list || len(v.list) != 2 || v.list[0].kind != number || v.list[1].kind != number {
		t.wrong(key, v, "pair")
		return least, least
	}
	low, high = t.numberOf(key, v.list[0], least, most), t.numberOf(key, v.list[1], least, most)
	if low > high {
		t.log.note(v.at, reason.New("file.falling", "key", key, "low", low, "high", high))
		return high, low
	}
	return low, high
}

// items are the values of a list; none when the key is left out.
func (t *Table) items(key, expected string) []*value {
	v := t.ask(key)
	if v == nil {
		return nil
	}
	if v.kind != list {
		t.wrong(key, v, expected)
		return nil
	}
	return v.list
}

// Inner asks for a table that must be there; nil after a fault.
func (t *Table) Inner(key string) *Table {
	v := t.want(key)
	if v == nil {
		return nil
	}
	return t.inner(key, v)
}

// InnerOr asks for a table that may be left out; then it is nil.
func (t *Table) InnerOr(key string) *Table {
	v := t.ask(key)
	if v == nil {
		return nil
	}
	return t.inner(key, v)
}

func (t *Table) inner(key string, v *value) *Table {
	if v.kind != table {
		t.wrong(key, v, "table")
		return nil
	}
	return v.table
}

// Rows asks for a list of tables, [[key]] or [{ … }], which may be left out.
func (t *Table) Rows(key string) []*Table {
	var rows []*Table
	for _, v := range t.items(key, "rows") {
		if v.kind != table {
			t.wrong(key, v, "rows")
			continue
		}
		rows = append(rows, v.table)
	}
	return rows
}

// Plain asks for a value that is a text or a whole number and gives it as
// written: for amounts ("d3" or 2) and needs. written is "" after a fault or
// when the key is left out; isText tells "2" from 2.
func (t *Table) Plain(key string) (written string, isText bool) {
	v := t.ask(key)
	if v == nil {
		return "", false
	}
	if v.kind != text && v.kind != number {
		t.wrong(key, v, "plain")
		return "", false
	}
	return v.text, v.kind == text
}

// Want notes a missing key, for a value asked for with Plain.
func (t *Table) Want(key string) { t.want(key) }
