package battle

import (
	"slices"

	"drumhead/engine/dice"
)

// Step is a command that may still be taken back: what was ordered, the battle
// before it, and the dice that fell, in runs of one kind as the entry holds them.
type Step struct {
	Order  Order
	Before *State // without what could be taken back then
	Fell   [][]int
	Free   bool // nobody learnt anything from it: no die, nothing opened, no turn ended
	done   int  // orders of a sheet that were carried out
}

// Redo is an order that was undone and not given again: the same one given in the
// same turn has the dice of the entry Of, after its first After.
type Redo struct {
	Of      uint64
	After   int
	Command string
	Args    string // canonical, as an entry of its own would have them
	Turn    int    // handovers when it was given
}

// Take folds what came of an order, and remembers what may be taken back: the
// commands of this player turn and of the one before it.
func (s State) Take(o Order, events []Event, fell [][]int) State {
	next := s.Fold(events)
	switch o.Do.(type) {
	case Sheet, Pass:
		before := s
		before.Past, before.Undone, before.Asked = nil, nil, nil
		step := Step{Order: o, Before: &before, Fell: fell, Free: len(fell) == 0}
		if sheet, ok := o.Do.(Sheet); ok {
			step.done = len(sheet.Orders)
		}
		for _, e := range events {
			switch e := e.(type) {
			case *Handed, *Finished, *Opened:
				step.Free = false
			case *Stopped:
				step.done = e.Line - 1
			}
		}
		next.Past = append(slices.Clone(s.Past), step)
		next.Undone = given(s.Undone, o.Do)
	}
	if next.Handovers != s.Handovers {
		next.Past = slices.DeleteFunc(slices.Clone(next.Past), func(p Step) bool { return p.Before.Handovers < next.Handovers-1 })
		next.Undone = slices.DeleteFunc(slices.Clone(next.Undone), func(r Redo) bool { return r.Turn < next.Handovers })
	}
	if next.Asked != nil && next.stepOf(next.Asked.Of) < 0 {
		next.Asked = nil
	}
	return next
}

// given is what is left to be given again after a command.
func given(undone []Redo, do Do) []Redo {
	if len(undone) == 0 {
		return nil
	}
	dos := []Do{do}
	if sheet, ok := do.(Sheet); ok {
		for i := range sheet.Orders {
			dos = append(dos, sheet.only(i))
		}
	}
	return slices.DeleteFunc(slices.Clone(undone), func(r Redo) bool { return slices.ContainsFunc(dos, r.is) })
}

// only is a sheet of one line of another.
func (s Sheet) only(i int) Sheet { return Sheet{Battle: s.Battle, Orders: s.Orders[i : i+1 : i+1]} }

// is tells whether a command is the one that was undone.
func (r Redo) is(do Do) bool {
	args, err := MarshalDo(do)
	return err == nil && r.Command == do.Command() && r.Args == string(args)
}

// Again finds the dice that a command has again: those of the entry Of, after its
// first so many. False if it draws dice of its own.
func (s State) Again(do Do) (of uint64, after int, ok bool) {
	for i := len(s.Undone) - 1; i >= 0; i-- {
		if s.Undone[i].is(do) {
			return s.Undone[i].Of, s.Undone[i].After, true
		}
	}
	return 0, 0, false
}

// Split cuts a sheet into those that become entries of their own: an order that was
// undone brings its dice again, and so stands alone, unless the whole sheet was.
func (s State) Split(sheet Sheet) []Sheet {
	if _, _, whole := s.Again(sheet); whole || len(s.Undone) == 0 || len(sheet.Orders) < 2 {
		return []Sheet{sheet}
	}
	var out []Sheet
	fresh := false // whether the last of them goes on with new dice
	for i := range sheet.Orders {
		one := sheet.only(i)
		_, _, again := s.Again(one)
		if fresh && !again {
			last := &out[len(out)-1]
			last.Orders = append(slices.Clone(last.Orders), one.Orders...)
		} else {
			out = append(out, one)
		}
		fresh = !again
	}
	return out
}

// unmixed refuses a sheet that holds an order which brings its dice again.
func (s State) unmixed(sheet Sheet) error {
	if parts := s.Split(sheet); len(parts) > 1 {
		why := refuse("battle.refuse.again_alone")
		why.Line = len(parts[0].Orders)
		return why
	}
	return nil
}

// stepOf is the place of a command among those that may be taken back, -1 for none.
func (s State) stepOf(seq uint64) int {
	return slices.IndexFunc(s.Past, func(p Step) bool { return p.Order.Seq == seq })
}

// free tells whether everything since a command can be taken back without asking:
// all of it is that side's own, and nobody learnt anything from it.
func (s State) free(of uint64, side int) bool {
	return s.Stage == Playing && s.Side == side && !slices.ContainsFunc(s.Past[s.stepOf(of):], func(p Step) bool {
		return !p.Free || s.SideOf(p.Order.Player) != side
	})
}

// Orders is how many orders of a step can be taken back by themselves.
func (p Step) Orders() int { return p.done }

// rolled tells whether any die fell.
func (p Step) rolled() bool { return dice.RunsOf(p.Fell).Count() > 0 }

// shortened is the step with its first orders only.
func (p Step) shortened(orders int) Step {
	sheet := p.Order.Do.(Sheet)
	_, n := p.upTo(orders)
	sheet.Orders = sheet.Orders[:orders:orders]
	p.Order.Do, p.done = sheet, orders
	var fell [][]int
	for _, run := range p.Fell {
		if left := min(n, len(run)-1); left > 0 {
			fell, n = append(fell, run[:left+1:left+1]), n-left
		}
	}
	p.Fell = fell
	return p
}

// redo is an order of the step as it would be given again.
func (p Step) redo(again Redone) Redo {
	do := p.Order.Do
	if sheet, ok := do.(Sheet); ok && again.Line > 0 {
		do = sheet.only(again.Line - 1)
	}
	args, err := MarshalDo(do)
	if err != nil {
		return Redo{} // was read from an entry
	}
	return Redo{Of: p.Order.Seq, After: again.After, Command: do.Command(), Args: string(args), Turn: p.Before.Handovers}
}
