package battle

// move carries out move, run and fall back.
func (r *run) move(l Line) {
	u := *r.state.unit(l.Unit)
	pace := r.state.pace(u)
	e := &Moved{Line: r.line, Unit: u.ID, How: l.Order, Tenths: l.Tenths, Reach: pace, Way: l.Way, At: l.At, Joins: l.Joins}
	status := ""
	told := Told{What: ARun, Unit: u.ID, Event: e}
	switch l.Order {
	case Run:
		adds := r.state.Pack.Movement.RunAdds
		var faces []int
		faces, e.Die = adds.Roll(r.drawer)
		told.Total, told.Sum = amount(adds, faces, e.Die)
		e.Reach += 10 * e.Die
		status = r.state.Pack.Movement.RunStatus
	case FallBack:
		status = r.state.Pack.Movement.FallBackStatus
	}
	if e.Tenths > e.Reach { // the die of a run was too low: they stop short of where they wanted
		e.Tenths, e.At, e.Joins = e.Reach, "", ""
	}
	r.emit(e)
	if l.Order == Run {
		r.tell(told)
	}
	if status != "" {
		r.emit(&Status{Unit: u.ID, Status: status})
		for _, with := range r.state.joined(u.ID) { // who goes along has run, or fallen back, as well
			r.emit(&Status{Unit: with.ID, Status: status})
		}
	}
	if l.Order == Run {
		r.blow(u.ID)
	}
}
