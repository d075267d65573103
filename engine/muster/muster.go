// Package muster reads the forces that players bring: as one says them, a unit
// a line, or as a TOML file. What was read is a Draft, kept with its faults; a
// judge holds it against the pack, prices it, and offers what would mend it. A
// draft without a fault is a Force.
package muster

import (
	"strconv"

	"drumhead/engine/rules"
)

// Limits of a force, whether said or in a file.
const (
	MostBytes = 64 * 1024 // of what is said or of the file
	MostUnits = 40
	MostName  = 40 // characters of a name
)

// Force is one player's army, legal by the pack that it was judged by.
type Force struct {
	Name    string `json:"name"`
	Pack    string `json:"pack"`
	Edition int    `json:"edition"`
	Army    string `json:"army"`  // id of the army list
	Limit   int    `json:"limit"` // points it may have; 0: none was said
	Units   []Unit `json:"units"`
}

// Unit is one unit of a force.
type Unit struct {
	Kind string `json:"kind"` // id of the pack's unit
	Size int    `json:"size"` // models
	Own  string `json:"own,omitempty"`
}

// Points is what the force costs.
func (f Force) Points(p *rules.Pack) int {
	sum := 0
	for _, u := range f.Units {
		if kind := p.Unit(u.Kind); kind != nil {
			sum += kind.Points(u.Size, p)
		}
	}
	return sum
}

// Models is how many models the force has.
func (f Force) Models() int {
	sum := 0
	for _, u := range f.Units {
		sum += u.Size
	}
	return sum
}

// Names is what orders call each unit: its own name, or the pack's short name,
// numbered where a kind stands there more than once without a name of its own.
func (f Force) Names(p *rules.Pack) []string {
	total, nth := map[string]int{}, map[string]int{}
	for _, u := range f.Units {
		if u.Own == "" {
			total[u.Kind]++
		}
	}
	var names []string
	for _, u := range f.Units {
		if u.Own == "" {
			nth[u.Kind]++
		}
		name := u.Kind
		if kind := p.Unit(u.Kind); kind != nil {
			name = kind.Short
		}
		switch {
		case u.Own != "":
			name = u.Own
		case total[u.Kind] > 1:
			name += " " + strconv.Itoa(nth[u.Kind])
		}
		names = append(names, name)
	}
	return names
}

// Entry is a force as a ledger holds it: ids and numbers, no free word.
type Entry struct {
	Pack    string      `json:"pack"`
	Edition int         `json:"edition"`
	Army    string      `json:"army"`
	Limit   int         `json:"limit"`
	Units   []EntryUnit `json:"units"`
}

// EntryUnit is a unit of an Entry.
type EntryUnit struct {
	Kind string `json:"kind"`
	Size int    `json:"size"`
}

// Entry leaves out what was named freely; Own gives that.
func (f Force) Entry() Entry {
	e := Entry{Pack: f.Pack, Edition: f.Edition, Army: f.Army, Limit: f.Limit}
	for _, u := range f.Units {
		e.Units = append(e.Units, EntryUnit{u.Kind, u.Size})
	}
	return e
}

// Own is the free names of the units in their order, "" for a unit without.
func (f Force) Own() []string {
	var own []string
	for _, u := range f.Units {
		own = append(own, u.Own)
	}
	return own
}

// Force puts names that were kept elsewhere back; own may be shorter, after its
// words were forgotten.
func (e Entry) Force(name string, own []string) Force {
	f := Force{Name: name, Pack: e.Pack, Edition: e.Edition, Army: e.Army, Limit: e.Limit}
	for i, u := range e.Units {
		unit := Unit{Kind: u.Kind, Size: u.Size}
		if i < len(own) {
			unit.Own = own[i]
		}
		f.Units = append(f.Units, unit)
	}
	return f
}
