package sentence

import "drumhead/engine/attack"

// isStage tells whether a stage begins here.
func (p *parser) isStage() bool {
	w := p.peek()
	return w.kind == need || p.is("save") || (w.kind == number && p.ahead().text == "or")
}

// stage reads a need and its rules.
func (p *parser) stage() Stage {
	s := Stage{Save: p.take("save")}
	n, ok := p.need()
	if !ok {
		p.wrong(expectNeed)
		return s
	}
	s.Need = n
	for p.rule(&s) {
	}
	return s
}

// need reads "4+", "12 or less", or "4 or more".
func (p *parser) need() (attack.Need, bool) {
	w := p.peek()
	switch {
	case w.kind == need:
		p.next()
		return attack.AtLeast(w.n), true
	case w.kind == number && p.ahead().text == "or":
		p.next()
		p.next()
		if p.take("less") {
			return attack.AtMost(w.n), true
		}
		if p.take("more") {
			return attack.AtLeast(w.n), true
		}
		p.wrong(expectOr)
		return attack.Need{Face: w.n}, true
	}
	return attack.Need{}, false
}

// rule reads one rule of a stage; false if none stands here.
func (p *parser) rule(s *Stage) bool {
	switch {
	case p.err != nil:
		return false
	case p.is("reroll"):
		if s.Rerolls != 0 {
			p.wrong(expectOneReroll)
			return false
		}
		p.next()
		s.Rerolls = p.reroll()
	case p.peek().kind == number && p.ahead().text == "s":
		p.natural(s)
	default:
		return false
	}
	return p.err == nil
}

// reroll reads what is rolled again.
func (p *parser) reroll() attack.Rerolls {
	w := p.peek()
	switch {
	case w.kind == number && w.n == 1 && p.ahead().text == "s":
		p.next()
		p.next()
		return attack.Ones
	case p.take("ones"):
		return attack.Ones
	case p.take("misses"):
		return attack.Misses
	case p.take("hits"):
		return attack.Passes
	case p.take("one"):
		p.want("miss", expectReroll)
		return attack.OneMiss
	}
	p.wrong(expectReroll)
	return 0
}

// natural reads what a natural maximum does. Whether the face named is the
// maximum shows when the dice are known.
func (p *parser) natural(s *Stage) {
	at := p.next()
	p.next()
	gift := &s.Twice
	switch {
	case p.take("count"):
		p.want("twice", expectNatural)
	case p.take("pass"):
		gift = &s.Next
		p.want("next", expectNatural)
	case p.take("no"):
		gift = &s.NoSave
		p.want("save", expectNatural)
	default:
		p.wrong(expectNatural)
		return
	}
	if *gift || (s.Top != 0 && s.Top != at.n) {
		p.fail(refuseWord(at, expectOnce))
	}
	*gift, s.Top = true, at.n
}
