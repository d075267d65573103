package muster

import (
	"strings"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Change reads one change of a draft and gives the changed one:
//
//	10 Pikes                that many of a unit that is there, or a unit more
//	no Mortar               leaves a unit out
//	Crossbows, yes  · yes   takes a near name as meant
//	500 points              what it may cost
//	line 3: 10 Crossbows    what stands on a line; "line 3: none" empties it
//
// It refuses what it cannot read; then the draft stays as it was.
func (d Draft) Change(p *rules.Pack, words string) (Draft, error) {
	if err := readable(words); err != nil {
		return d, err
	}
	words = tidy(words)
	changed := d
	changed.Lines = append([]Line(nil), d.Lines...)
	if rest, points, said := pointsOf(words); said && rest == "" {
		changed.Limit = points
		return changed, changed.affordable()
	}
	if number, rest, ok := onLine(words); ok {
		return changed, changed.put(p, number, rest)
	}
	for _, word := range []string{"no ", "without ", "drop "} {
		if head, name := cutPrefixFold(words, word); head {
			return changed, changed.leaveOut(p, name)
		}
	}
	if name, cut := cutSuffixFold(words, "yes"); cut {
		return changed, changed.accept(p, strings.Trim(name, " ,:"))
	}
	return changed, changed.count(p, words)
}

// affordable refuses a limit of points that no game asks for.
func (d Draft) affordable() error {
	if d.Limit > rules.MostPoints {
		return reason.Refuse("/force change 500 points", "force.refuse.points", "most", rules.MostPoints)
	}
	return nil
}

func cutPrefixFold(s, prefix string) (bool, string) {
	if len(s) < len(prefix) || !strings.EqualFold(s[:len(prefix)], prefix) {
		return false, s
	}
	return true, strings.TrimSpace(s[len(prefix):])
}

// onLine reads "line 3: REST".
func onLine(words string) (number int, rest string, ok bool) {
	is, after := cutPrefixFold(words, "line ")
	if !is {
		return 0, "", false
	}
	rest, number, ok = countFirst(after)
	return number, strings.TrimLeft(rest, ": "), ok
}

// put changes what stands on a line. A line with only a name keeps its number
// of models, a line with only a number its name.
func (d *Draft) put(p *rules.Pack, number int, rest string) error {
	i := d.index(func(l Line) bool { return l.Number == number })
	if i < 0 {
		return reason.Refuse("/force change 10 Pikes", "force.refuse.noline", "number", number)
	}
	if strings.EqualFold(rest, "none") {
		d.Lines = append(d.Lines[:i], d.Lines[i+1:]...)
		return nil
	}
	line, err := readLine(p, rest)
	if err != nil {
		return err
	}
	line.Number = number
	if line.Count == 0 {
		line.Count = d.Lines[i].Count
	}
	if line.Own == "" {
		line.Own = d.Lines[i].Own
	}
	d.Lines[i] = line
	return nil
}

// leaveOut takes the unit of a name off.
func (d *Draft) leaveOut(p *rules.Pack, name string) error {
	i, err := d.called(p, name)
	if err != nil {
		return err
	}
	if i < 0 {
		return reason.Refuse("/force change no Mortar", "force.refuse.absent", "name", reason.Name(clip(name)))
	}
	d.Lines = append(d.Lines[:i], d.Lines[i+1:]...)
	return nil
}

// accept settles near names: all of them, or those whose unit is meant.
func (d *Draft) accept(p *rules.Pack, name string) error {
	meant, settled := mean(p, name).one(), 0
	for i, line := range d.Lines {
		if line.Kind != "" {
			continue
		}
		near := mean(p, line.Said).near
		if near != nil && (name == "" || near == meant) {
			d.Lines[i].Kind = near.ID
			settled++
		}
	}
	if settled == 0 {
		return reason.Refuse("/force change 10 Pikes", "force.refuse.settled")
	}
	return nil
}

// count sets the number of models of a unit that is there, or adds one.
func (d *Draft) count(p *rules.Pack, words string) error {
	line, err := readLine(p, words)
	if err != nil {
		return err
	}
	i, err := d.called(p, line.Said)
	if err != nil {
		return err
	}
	if i < 0 {
		if len(d.Lines) == MostUnits {
			return reason.Refuse(Example, "force.refuse.units", "most", MostUnits)
		}
		line.Number = 1
		for _, l := range d.Lines {
			line.Number = max(line.Number, l.Number+1)
		}
		d.Lines = append(d.Lines, line)
		return nil
	}
	d.Lines[i].Count = line.Count
	if line.Own != "" {
		d.Lines[i].Own = line.Own
	}
	return nil
}

// called finds the line of a unit by its own name or by that of its kind, -1 if
// there is none. It refuses a name that fits several lines.
func (d *Draft) called(p *rules.Pack, name string) (int, error) {
	if i := d.index(func(l Line) bool { return l.Own != "" && fold(l.Own) == fold(name) }); i >= 0 {
		return i, nil
	}
	meant, found := mean(p, name), -1
	for i, line := range d.Lines {
		for _, u := range meant.units {
			if u.ID != line.Kind {
				continue
			}
			if found >= 0 {
				return -1, reason.Refuse("/force change line 2: 10 Pikes", "force.refuse.several", "name", reason.Name(clip(name)))
			}
			found = i
		}
	}
	return found, nil
}

func (d *Draft) index(is func(Line) bool) int {
	for i, line := range d.Lines {
		if is(line) {
			return i
		}
	}
	return -1
}
