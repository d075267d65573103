package muster

import (
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

// ReadFile reads a force file, TOML:
//
//	name   = "Ropewalk Guild"
//	pack   = "osier"
//	army   = "ropewalk-guild"   # may be left out: the army of most units
//	points = 500                # may be left out
//
//	[[unit]]
//	unit    = "Fen Riders"      # as one would say it
//	size    = 6                 # may be left out where a unit has one size
//	name    = "Reed Lances"     # may be left out: a name of its own
//	profile = { save = "4+" }   # may be left out: compared with the pack's
//
// A profile in the file changes nothing. It is there so that a list copied from
// somewhere else shows where it differs. The error is a *source.Faults.
func ReadFile(p *rules.Pack, name string, text []byte) (Draft, error) {
	root, err := source.Read(name, text, MostBytes)
	if err != nil {
		return Draft{}, err
	}
	d := Draft{Name: root.TextOr("name", MostName, "")}
	if id := root.TextOr("pack", rules.MostID, p.ID); id != "" && id != p.ID {
		root.Fault("pack", reason.New("force.file.pack", "pack", reason.Name(clip(id)), "known", reason.Name(p.ID)))
	}
	var armies []string
	for _, a := range p.Armies {
		armies = append(armies, a.ID)
	}
	d.Army = root.OneOfOr("army", armies, "")
	d.Limit = root.NumberOr("points", 1, rules.MostPoints, 0)
	for i, t := range root.Rows("unit") {
		if i == MostUnits {
			t.FaultAt(t.Place(), reason.New("force.refuse.units", "most", MostUnits))
			break
		}
		d.Lines = append(d.Lines, unitOf(p, t))
	}
	root.Close()
	if err := root.Faults(); err != nil {
		return Draft{}, err
	}
	return d, nil
}

// PackOf is the id of the pack that a force file is for, "" if it does not say or
// cannot be read.
func PackOf(text []byte) string {
	root, err := source.Read("", text, MostBytes)
	if err != nil {
		return ""
	}
	return root.TextOr("pack", rules.MostID, "")
}

// unitOf reads one [[unit]].
func unitOf(p *rules.Pack, t *source.Table) Line {
	line := Line{Number: t.Place().Line, Said: t.Text("unit", MostName)}
	line.Count = t.NumberOr("size", 1, rules.MostModels, 0)
	line.Own = t.TextOr("name", MostName, "")
	if strings.Contains(line.Own, ";") { // it would end a line of orders that names the unit
		t.Fault("name", reason.New("force.file.ends"))
	}
	profile := t.InnerOr("profile")
	t.Close()
	u := mean(p, line.Said).one()
	if line.Said != "" && u == nil {
		var known []string
		for _, k := range p.Units {
			known = append(known, k.Title)
		}
		t.Fault("unit", source.Unknown("force.file.unit", line.Said, known))
	}
	if u == nil {
		return line
	}
	line.Kind = u.ID
	if profile != nil {
		compare(p, u, profile)
	}
	return line
}

// compare notes what a profile says otherwise than the pack.
func compare(p *rules.Pack, u *rules.Unit, t *source.Table) {
	for _, c := range p.Characteristics {
		if !t.Has(c.ID) || c.Kind == rules.Marks { // marks are a list, and nobody copies them
			continue
		}
		said, _ := t.Plain(c.ID)
		value, has := u.Profile[c.ID]
		if said == "" || said == "none" && !has && c.Optional {
			continue
		}
		if !fits(t, c, said) {
			continue
		}
		if is := written(c, value, has); is != said {
			t.Fault(c.ID, reason.New("force.file.differs", "unit", reason.Name(u.Title), "key", c.ID, "said", reason.Name(said), "is", is))
		}
	}
	t.Close()
}

// fits notes a value that is none of its kind at all.
func fits(t *source.Table, c rules.Characteristic, said string) bool {
	id, ok := "force.file.number", false
	switch c.Kind {
	case rules.Need:
		need, err := attack.ParseNeed(said)
		ok = err == nil && !need.OrLess && need.Face >= 2 && need.Face <= 6 || said == "none" && c.Optional
		id = "force.file.need"
	case rules.Amount:
		_, err := attack.ParseAmount(said)
		id, ok = "force.file.amount", err == nil
	default:
		_, err := strconv.Atoi(said)
		ok = err == nil
	}
	if !ok {
		t.Fault(c.ID, reason.New(id, "key", c.ID, "said", reason.Name(clip(said))))
	}
	return ok
}

// written is a value as a file has it.
func written(c rules.Characteristic, v rules.Value, has bool) string {
	switch {
	case !has:
		return "none"
	case c.Kind == rules.Need:
		return v.Need.String()
	case c.Kind == rules.Amount:
		return v.Amount.String()
	}
	return strconv.Itoa(v.Number)
}

// WriteFile writes a force as ReadFile reads it.
func (f Force) WriteFile(p *rules.Pack) string {
	var b strings.Builder
	b.WriteString("name   = " + quoted(f.Name) + "\n")
	b.WriteString("pack   = " + quoted(f.Pack) + "\n")
	if f.Army != "" {
		b.WriteString("army   = " + quoted(f.Army) + "\n")
	}
	if f.Limit > 0 {
		b.WriteString("points = " + strconv.Itoa(f.Limit) + "\n")
	}
	for _, u := range f.Units {
		b.WriteString("\n[[unit]]\nunit = " + quoted(p.Called(u.Kind)) + "\nsize = " + strconv.Itoa(u.Size) + "\n")
		if u.Own != "" {
			b.WriteString("name = " + quoted(u.Own) + "\n")
		}
	}
	return b.String()
}

// quoted is a TOML string; names hold no control characters.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// Text writes a draft as ReadSaid reads it, for whoever wants to edit it.
func (d Draft) Text(p *rules.Pack) string {
	var b strings.Builder
	b.WriteString(d.Name)
	if d.Limit > 0 {
		b.WriteString(", " + strconv.Itoa(d.Limit) + " points")
	}
	for _, line := range d.Lines {
		b.WriteByte('\n')
		if line.Count > 0 {
			b.WriteString(strconv.Itoa(line.Count) + " ")
		}
		name := line.Said
		if u := p.Unit(line.Kind); u != nil {
			name = u.Title
		}
		b.WriteString(name)
		if line.Own != "" {
			b.WriteString(" as " + line.Own)
		}
	}
	return strings.Trim(b.String(), "\n, ")
}

// Draft is the force as a draft, to be changed or judged again.
func (f Force) Draft() Draft {
	d := Draft{Name: f.Name, Army: f.Army, Limit: f.Limit}
	for i, u := range f.Units {
		d.Lines = append(d.Lines, Line{Number: i + 2, Kind: u.Kind, Count: u.Size, Own: u.Own})
	}
	return d
}
