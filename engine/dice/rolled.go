package dice

// Run is a number of dice of one kind that were drawn one after the other.
type Run struct{ Sides, Count int }

// Runs is what kinds of dice an entry drew, and in which order.
type Runs []Run

// RunsOf gives the kinds of recorded faces; see Stream.Faces.
func RunsOf(faces [][]int) Runs {
	runs := make(Runs, 0, len(faces))
	for _, run := range faces {
		runs = append(runs, Run{Sides: run[0], Count: len(run) - 1})
	}
	return runs
}

// Count tells how many dice there are in all.
func (r Runs) Count() int {
	n := 0
	for _, run := range r {
		n += run.Count
	}
	return n
}

// First gives the kinds of the first n dice, and false if there are fewer.
func (r Runs) First(n int) (Runs, bool) {
	var first Runs
	for _, run := range r {
		if n <= 0 {
			break
		}
		run.Count = min(run.Count, n)
		n -= run.Count
		first = append(first, run)
	}
	return first, n == 0
}

// rolled keeps the dice of an entry in the order drawn: faces in one list, each less
// one so that two bytes hold it, and the runs of one kind that they fall into.
type rolled struct {
	faces []uint16
	runs  Runs
}

func (r *rolled) add(sides, face int) {
	if n := len(r.runs); n > 0 && r.runs[n-1].Sides == sides {
		r.runs[n-1].Count++
	} else {
		if n == 0 {
			r.faces, r.runs = make([]uint16, 0, 64), make(Runs, 0, 4) // a sheet's worth
		}
		r.runs = append(r.runs, Run{Sides: sides, Count: 1})
	}
	r.faces = append(r.faces, uint16(face-1))
}

// Left tells how many more dice this entry may draw.
func (r *rolled) Left() int { return MostDice - len(r.faces) }

// Drawn tells how many dice this entry has drawn.
func (r *rolled) Drawn() int { return len(r.faces) }

// Faces gives every die in the order drawn, in runs of one kind, each with its
// sides first: [[6 4 1 6] [3 2]] is three d6 (4, 1, 6), then a d3 (2). With no
// dice it is empty, and not nil.
func (r *rolled) Faces() [][]int {
	all := make([]int, 0, len(r.faces)+len(r.runs))
	faces := make([][]int, 0, len(r.runs))
	at := 0
	for _, run := range r.runs {
		start := len(all)
		all = append(all, run.Sides)
		for _, face := range r.faces[at : at+run.Count] {
			all = append(all, int(face)+1)
		}
		faces = append(faces, all[start:len(all):len(all)])
		at += run.Count
	}
	return faces
}
