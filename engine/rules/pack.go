// Package rules reads rules packs: TOML files that describe one game's
// profiles, charts, steps, sequences and effects, its turn, its armies and its
// scenarios. A pack is checked whole when it is loaded; what is left to do in
// play is to look things up and to compile: from two units, a weapon and the
// facts of the table to an attack of numbers only, with the reason for each.
//
// Every set of words in the format is closed. There is no expression language:
// what depends on the table is a condition, a list of facts that all hold.
package rules

import (
	"crypto/sha256"
	"encoding/hex"

	"drumhead/engine/rules/source"
)

// Limits of a pack file.
const (
	MostBytes  = 256 * 1024 // of the file
	MostRows   = 400        // of one kind: weapons, units, effects, …
	MostWords  = 200        // characters of a describing text
	MostName   = 40         // characters of a title
	MostID     = 40         // characters of an id
	MostTokens = 1000       // attacks of one unit with one weapon, extra ones included
	MostNumber = 10_000     // a number where nothing narrower is said
	MostModels = 100        // of one unit
	MostWounds = 40         // of one model, so that a unit has at most 4,000
	MostInches = 200        // a distance
	MostPoints = 100_000    // of a force
	MostTurns  = 30         // of a scenario
)

// Pack is one game, checked: every name in it is known, every chart has a row
// for everything. It is read-only and may be shared.
type Pack struct {
	ID      string
	Title   string
	Edition int
	About   string
	Hash    string // SHA-256 of the file, lower-case hex

	Grades          []string // of experience, lowest first
	Characteristics []Characteristic
	Keywords        []Keyword
	Statuses        []Status
	Charts          []Chart
	Results         []Result
	Tables          []Table
	Steps           []Step
	Sequences       []Sequence
	Effects         []Effect
	Phases          []Phase
	Movement        Movement
	Melee           Melee
	RerollsEachTurn int // dice that a player may roll again in each game turn
	PowersKnown     int // most powers that a caster knows
	Powers          []Power
	Weapons         []Weapon
	Muster          Muster
	Armies          []Army
	Units           []Unit
	Scenarios       []Scenario
	Standing        Standing

	Warnings []source.Fault // what is never used or never reached; nothing is wrong with it
}

// Load reads and checks a pack. name is the file's, for the faults. The error
// is a *source.Faults: all faults of the file, by place.
func Load(name string, text []byte) (*Pack, error) {
	root, err := source.Read(name, text, MostBytes)
	if err != nil {
		return nil, err
	}
	hash := sha256.Sum256(text)
	l := newLoader(root)
	l.pack.Hash = hex.EncodeToString(hash[:])
	l.read()
	l.bound()
	if err := root.Faults(); err != nil {
		return nil, err
	}
	l.warn()
	return l.pack, nil
}

// named finds the row of an id, nil if there is none.
func named[T any](rows []T, id string, of func(*T) string) *T {
	for i := range rows {
		if of(&rows[i]) == id {
			return &rows[i]
		}
	}
	return nil
}

// Characteristic finds a characteristic, nil if there is none.
func (p *Pack) Characteristic(id string) *Characteristic {
	return named(p.Characteristics, id, func(c *Characteristic) string { return c.ID })
}

// Keyword finds a keyword, nil if there is none.
func (p *Pack) Keyword(id string) *Keyword {
	return named(p.Keywords, id, func(k *Keyword) string { return k.ID })
}

// Status finds a status, nil if there is none.
func (p *Pack) Status(id string) *Status {
	return named(p.Statuses, id, func(s *Status) string { return s.ID })
}

// Chart finds a chart, nil if there is none.
func (p *Pack) Chart(id string) *Chart {
	return named(p.Charts, id, func(c *Chart) string { return c.ID })
}

// Result finds a result, nil if there is none.
func (p *Pack) Result(id string) *Result {
	return named(p.Results, id, func(r *Result) string { return r.ID })
}

// Table finds a table, nil if there is none.
func (p *Pack) Table(id string) *Table {
	return named(p.Tables, id, func(t *Table) string { return t.ID })
}

// Step finds a step, nil if there is none.
func (p *Pack) Step(id string) *Step {
	return named(p.Steps, id, func(s *Step) string { return s.ID })
}

// SequenceOf finds the sequence that an order word sets off, nil if none does.
func (p *Pack) SequenceOf(order string) *Sequence {
	return named(p.Sequences, order, func(s *Sequence) string { return s.Order })
}

// Effect finds an effect, nil if there is none.
func (p *Pack) Effect(id string) *Effect {
	return named(p.Effects, id, func(e *Effect) string { return e.ID })
}

// Power finds a power, nil if there is none.
func (p *Pack) Power(id string) *Power {
	return named(p.Powers, id, func(w *Power) string { return w.ID })
}

// Weapon finds a weapon, nil if there is none.
func (p *Pack) Weapon(id string) *Weapon {
	return named(p.Weapons, id, func(w *Weapon) string { return w.ID })
}

// Army finds an army list, nil if there is none.
func (p *Pack) Army(id string) *Army {
	return named(p.Armies, id, func(a *Army) string { return a.ID })
}

// Unit finds a unit, nil if there is none.
func (p *Pack) Unit(id string) *Unit {
	return named(p.Units, id, func(u *Unit) string { return u.ID })
}

// Scenario finds a scenario, nil if there is none.
func (p *Pack) Scenario(id string) *Scenario {
	return named(p.Scenarios, id, func(s *Scenario) string { return s.ID })
}

// PhaseOf is the place in the turn of an order word, from 0, or -1.
func (p *Pack) PhaseOf(order string) int {
	for i, phase := range p.Phases {
		for _, allowed := range phase.Allows {
			if allowed == order {
				return i
			}
		}
	}
	return -1
}
