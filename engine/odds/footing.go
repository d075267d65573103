package odds

// Footing says which rungs of a ladder are alike: from all rungs of one class the
// same climbs have the same chances. The last rungs repeat for ever, so that a
// climb may be reckoned as if the ladder had no end; what is beyond Top counts as
// Top only when a climb is taken.
//
// Modes are what a climb may use up besides, one bit for each re-roll that acts
// once: a bit that is set stays set.
type Footing struct {
	Top   int
	Modes int // a power of two, 1 or more

	of     []int32 // class of each rung before the last run
	base   int     // first rung of the last run
	period int     // of the last run
	first  int     // class of its first rung
	rungs  []int   // a rung of each class
}

// NewFooting makes the footing of a ladder that is alike everywhere.
func NewFooting(top, modes int) Footing { return footing(top, modes, 1) }

func footing(top, modes, period int) Footing {
	f := Footing{Top: top, Modes: modes, period: period}
	for r := range period {
		f.rungs = append(f.rungs, r)
	}
	return f
}

// Run is a part of a ladder in which every so many rungs are alike.
type Run struct{ Rungs, Period int }

// FootingOf makes the footing of a ladder made of runs, for climbs of at most so
// many rungs. The last run repeats for ever.
func FootingOf(runs []Run, top, modes, reach int) Footing {
	last := runs[len(runs)-1]
	if len(runs) == 1 {
		return footing(top, modes, last.Period)
	}
	f := Footing{Top: top, Modes: modes, period: last.Period}
	for _, run := range runs[:len(runs)-1] {
		f.base += run.Rungs
	}
	f.of = make([]int32, f.base)
	end := f.base
	for i := len(runs) - 2; i >= 0; i-- {
		start := end - runs[i].Rungs
		f.run(start, end, runs[i].Period, reach)
		end = start
	}
	f.first = len(f.rungs)
	for r := range last.Period {
		f.rungs = append(f.rungs, f.base+r)
	}
	return f
}

// run gives classes to the rungs of one run, the highest first: two that are one
// period apart are alike unless a climb from the upper one can leave the run.
func (f *Footing) run(start, end, period, reach int) {
	for r := end - 1; r >= start; r-- {
		if r+period+reach <= end {
			f.of[r] = f.of[r+period]
			continue
		}
		f.of[r] = int32(len(f.rungs))
		f.rungs = append(f.rungs, r)
	}
}

// Classes is how many unlike rungs there are, and Rung one rung of a class.
func (f *Footing) Classes() int { return len(f.rungs) }

// Rung is one of the rungs of a class.
func (f *Footing) Rung(class int) int { return f.rungs[class] }

// class is that of any rung, also beyond the top.
func (f *Footing) class(rung int) int {
	if rung < f.base {
		return int(f.of[rung])
	}
	if f.period == 1 {
		return f.first
	}
	return f.first + (rung-f.base)%f.period
}
