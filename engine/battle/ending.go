package battle

import "drumhead/engine/reason"

// checkFinish refuses a proposal that stands already.
func checkFinish(s State, o Order) error {
	side, err := playing(s, o)
	if err == nil && s.Proposed == side {
		return reason.Refuse("/battle play", "battle.refuse.proposed", "player", reason.Person(s.Players[Other(side)]))
	}
	return err
}

// checkPlay refuses to answer a proposal that nobody made.
func checkPlay(s State, o Order) error {
	_, err := playing(s, o)
	if err == nil && s.Proposed == Nobody {
		return reason.Refuse("/battle finish", "battle.refuse.unproposed")
	}
	return err
}

// withdraw ends a proposal: whoever plays on does not end it as it stands.
func (r *run) withdraw() {
	if r.state.Proposed != Nobody {
		r.emit(&Withdrawn{Side: r.state.Proposed})
	}
}

func (r *run) finish() {
	side := r.state.SideOf(r.order.Player)
	if r.state.Proposed == Other(side) {
		r.agree()
		return
	}
	r.emit(&Proposed{Side: side})
}

// checkAgree lets a player agree to the other's proposal in play, or to the
// result after it; the bot may let a result stand that nobody disputes.
func checkAgree(s State, o Order) error {
	if o.Player == Bot {
		if s.Stage != Over || s.Disputed != [2]bool{} {
			return refuse("battle.refuse.stand")
		}
		return nil
	}
	side, err := seated(s, o)
	switch {
	case err != nil:
		return err
	case s.Stage == Playing && s.Proposed != Other(side):
		return refuse("battle.refuse.nothing")
	case s.Stage == Over && s.Agreed[side]:
		return refuse("battle.refuse.agreed")
	}
	return nil
}

// agree ends play when both want that, and the battle when both accept the
// result. Who agrees to end it as it stands accepts the result as well.
func (r *run) agree() {
	side := r.state.SideOf(r.order.Player)
	if r.order.Player == Bot {
		r.end(ByTime)
		return
	}
	if r.state.Stage == Playing {
		r.emit(&Finished{Why: AsStands})
		r.emit(&Agreed{Side: Other(side)})
	}
	r.emit(&Agreed{Side: side})
	if r.state.Agreed == [2]bool{true, true} {
		r.end(ByBoth)
	}
}

func checkDispute(s State, o Order, d Dispute) error {
	side := s.SideOf(o.Player)
	switch {
	case s.Stage != Over:
		return refuse("battle.refuse.dispute")
	case side == Nobody:
		return refuse("battle.refuse.stranger", "players", s.people())
	case s.Disputed[side]:
		return refuse("battle.refuse.disputed")
	case d.Said != "" && !isHash(d.Said):
		return refuse("battle.refuse.said")
	}
	return nil
}

func (r *run) concede() {
	r.emit(&Conceded{Side: r.state.SideOf(r.order.Player)})
	r.end(ByConcede)
}

// end makes the result final: the higher score wins, equal scores are a draw,
// and who concedes loses.
func (r *run) end(how string) {
	s := r.state
	winner := Nobody
	switch {
	case s.Conceded != Nobody:
		winner = Other(s.Conceded)
	case s.Score[0] != s.Score[1]:
		winner = 0
		if s.Score[1] > s.Score[0] {
			winner = 1
		}
	}
	r.emit(&End{Winner: winner, How: how, Score: []int{s.Score[0], s.Score[1]}})
}

// checkPass lets the one who waits end the other's turn, whose time is up.
func checkPass(s State, o Order) (mayRoll bool, err error) {
	side, err := playing(s, o)
	if err != nil {
		return false, err
	}
	if side == s.Side || !s.Overdue {
		return false, refuse("battle.refuse.pass", "player", reason.Person(s.Players[s.Side]))
	}
	return s.endMayRoll(), nil
}
