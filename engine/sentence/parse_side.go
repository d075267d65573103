package sentence

import (
	"strconv"

	"drumhead/engine/reason"
)

// side reads dice and numbers added up, and what their total needs.
func (p *parser) side() Side {
	s := Side{}
	for minus := false; ; {
		p.term(&s, minus)
		if p.peek().kind != sign {
			break
		}
		minus = p.next().text == "-"
	}
	if len(s.Terms) == 0 && p.err == nil {
		p.wrong(expectDice)
	}
	if p.take("total") {
		n, ok := p.need()
		if !ok {
			p.wrong(expectTotal)
		}
		s.Total = &n
	}
	if w := p.peek(); w.kind == number && p.err == nil && p.ahead().text != "or" && p.ahead().text != "s" {
		p.fail(refuseBare(w))
	}
	return s
}

// term reads one term of a side into it.
func (p *parser) term(s *Side, minus bool) {
	w := p.peek()
	switch {
	case p.is("best") || p.is("worst"):
		s.Terms = append(s.Terms, p.kept(minus))
	case w.kind == number && p.ahead().text != "d":
		p.plus(s, minus)
	case w.kind == number || p.is("d"):
		s.Terms = append(s.Terms, p.rolled(minus))
	default:
		p.wrong(expectDice)
	}
}

// plus reads a number that is added.
func (p *parser) plus(s *Side, minus bool) {
	n := p.next().n
	if n > MostNumber {
		p.fail(reason.Refuse("2d6+1", "dice.refuse.number", "most", MostNumber))
	}
	if minus {
		n = -n
	}
	s.Plus += n
	if s.Plus > MostNumber || s.Plus < -MostNumber {
		p.fail(reason.Refuse("2d6+1", "dice.refuse.number", "most", MostNumber))
	}
}

// kept reads "best 2 of 3d6".
func (p *parser) kept(minus bool) Term {
	t := Term{Minus: minus}
	worst := p.next().text == "worst"
	t.Keep = p.number(expectKept)
	p.want("of", expectKept)
	if p.err != nil {
		return t
	}
	t.Dice, t.Sides = p.dice(expectKept)
	if p.err == nil && t.Dice > MostKeptFrom {
		p.fail(reason.Refuse("best 2 of 3d6", "dice.refuse.kept_from", "dice", t.Dice, "most", MostKeptFrom))
	}
	if p.err == nil && (t.Keep < 1 || t.Keep >= t.Dice) {
		p.fail(reason.Refuse("best 2 of 3d6", "dice.refuse.kept", "kept", t.Keep, "dice", t.Dice, "most", t.Dice-1))
	}
	if worst {
		t.Keep = -t.Keep
	}
	return t
}

// rolled reads dice that all count; "d66" is two of them.
func (p *parser) rolled(minus bool) Term {
	t := Term{Minus: minus}
	bare := p.is("d")
	t.Dice, t.Sides = p.dice(expectDice)
	if t.Sides == 66 {
		if !bare && t.Dice > 1 {
			p.fail(reason.Refuse("6 times d66", "dice.refuse.d66"))
		}
		t.Dice, t.Sides, t.Tens = 1, 6, true
	}
	if !t.Tens && p.take("open-ended") {
		t.Open = true
	}
	return t
}

// dice reads "12d6" or "d6".
func (p *parser) dice(e expectation) (dice, sides int) {
	dice = 1
	if p.peek().kind == number {
		w := p.next()
		dice = w.n
		if !p.is("d") {
			p.wrong(e)
			return 0, 0
		}
		if dice < 1 || dice > MostDice {
			p.fail(refuseDice(w))
		}
	}
	p.want("d", e)
	if w := p.peek(); w.kind == number && p.err == nil {
		sides = w.n
		if sides < LeastSides || sides > MostSides {
			p.fail(reason.Refuse("3d20", "dice.refuse.sides", "sides", trim(w.text), "least", LeastSides, "most", MostSides))
		}
		p.next()
		return dice, sides
	}
	p.wrong(expectSides)
	return dice, sides
}

// refuseDice refuses a number of dice: none, or too many.
func refuseDice(w lexeme) error {
	if w.n == 0 {
		return reason.Refuse("12d6 4+", "dice.refuse.no_dice", "most", MostDice)
	}
	return reason.Refuse("1000d6 4+", "dice.refuse.many_dice", "count", trim(w.text), "most", MostDice)
}

// refuseBare refuses a number that could be a need or be added.
func refuseBare(w lexeme) error {
	n := strconv.Itoa(w.n)
	if w.n > MostNumber {
		n = strconv.Itoa(MostNumber)
	}
	return reason.Refuse("12d6 4+", "dice.refuse.bare", "number", n, "at", w.at)
}

// trim shortens a number that somebody leaned on the keyboard for.
func trim(digits string) string {
	if len(digits) > 12 {
		return digits[:12] + "…"
	}
	return digits
}
