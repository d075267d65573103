package source

import (
	"fmt"
	"sort"
	"strings"

	"drumhead/engine/reason"
)

// MostShown is how many faults of one file are shown to a person at once.
const MostShown = 10

// mostNoted bounds the faults kept of one file, however broken it is.
const mostNoted = 200

// Fault is one thing wrong with a file, and where.
type Fault struct {
	Place
	Reason reason.Reason
}

// Faults is the error of a file: everything that is wrong with it, in the
// order of the file.
type Faults struct {
	Name string // of the file
	All  []Fault
}

// Error gives places and ids, for logs; people are shown the sentences.
func (f *Faults) Error() string {
	var parts []string
	for _, fault := range f.Shown() {
		parts = append(parts, fmt.Sprintf("%s:%d:%d: %s%v", f.Name, fault.Line, fault.Column, fault.Reason.ID, values(fault.Reason)))
	}
	return strings.Join(parts, "\n")
}

// Shown is the first MostShown of the faults.
func (f *Faults) Shown() []Fault {
	return f.All[:min(len(f.All), MostShown)]
}

func values(r reason.Reason) []any {
	var all []any
	for _, arg := range r.Args {
		all = append(all, arg.Value)
	}
	return all
}

// log gathers the faults of one file while it is read.
type log struct {
	name  string
	noted []Fault
}

func (l *log) note(at Place, why reason.Reason) {
	if len(l.noted) < mostNoted {
		l.noted = append(l.noted, Fault{at, why})
	}
}

// faults is what was noted as one error, sorted by place, or nil.
func (l *log) faults() error {
	if len(l.noted) == 0 {
		return nil
	}
	sort.SliceStable(l.noted, func(i, j int) bool { return l.noted[i].before(l.noted[j].Place) })
	return &Faults{Name: l.name, All: l.noted}
}
