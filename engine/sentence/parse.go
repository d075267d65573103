package sentence

import (
	"unicode/utf8"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Parse reads a dice sentence or an `again`. It refuses, with a *reason.Refusal
// whose Example is a whole sentence that works, what it cannot read or roll.
func Parse(text string) (Sentence, error) {
	if err := checkLength(text); err != nil {
		return Sentence{}, err
	}
	words, labelAt, err := lex(text)
	if err != nil {
		return Sentence{}, err
	}
	p := parser{words: words, s: Sentence{Times: 1}}
	if labelAt >= 0 {
		p.s.Label = label([]rune(text)[labelAt:])
	}
	p.sentence()
	if p.err != nil {
		return Sentence{}, p.err
	}
	if err := p.s.check(); err != nil {
		return Sentence{}, err
	}
	return p.s, checkLength(p.s.Format())
}

// checkLength is asked of what was typed and of its one spelling, which is read
// again by whoever replays.
func checkLength(text string) error {
	if n := utf8.RuneCountInString(text); n > MostCharacters {
		return reason.Refuse("12d6 4+ for the bridge", "dice.refuse.long", "count", n, "most", MostCharacters)
	}
	return nil
}

// parser goes over the words. After the first refusal it stands at the end and
// nothing more is read.
type parser struct {
	words []lexeme
	i     int
	s     Sentence
	err   error
}

func (p *parser) peek() lexeme { return p.words[p.i] }

// ahead is the word after the next.
func (p *parser) ahead() lexeme { return p.words[min(p.i+1, len(p.words)-1)] }

func (p *parser) next() lexeme {
	w := p.words[p.i]
	if p.i < len(p.words)-1 {
		p.i++
	}
	return w
}

// fail keeps the first refusal.
func (p *parser) fail(err error) {
	if p.err == nil {
		p.err = err
		p.i = len(p.words) - 1
	}
}

// wrong refuses the word that stands next.
func (p *parser) wrong(e expectation) { p.fail(refuseWord(p.peek(), e)) }

// is tells whether the next word is this one; take reads it if so.
func (p *parser) is(text string) bool { return p.peek().kind == word && p.peek().text == text }

func (p *parser) take(text string) bool {
	if !p.is(text) {
		return false
	}
	p.next()
	return true
}

// want reads this word or refuses.
func (p *parser) want(text string, e expectation) {
	if !p.take(text) {
		p.wrong(e)
	}
}

// number reads digits or refuses.
func (p *parser) number(e expectation) int {
	if p.peek().kind != number {
		p.wrong(e)
		return 0
	}
	return p.next().n
}

func (p *parser) sentence() {
	switch {
	case p.peek().kind == end:
		p.fail(reason.Refuse("12d6 4+", "dice.refuse.empty"))
	case p.take("again"):
		p.again()
	default:
		p.roll()
	}
	if p.peek().kind != end {
		p.wrong(expectEnd)
	}
}

// again reads stages on the dice of the last roll.
func (p *parser) again() {
	p.s.Again = true
	p.s.Stages = append(p.s.Stages, p.stage())
	for p.peek().kind == comma {
		p.next()
		p.s.Stages = append(p.s.Stages, p.stage())
	}
}

func (p *parser) roll() {
	if p.peek().kind == number && p.ahead().text == "times" {
		p.s.Times = p.next().n
		p.next()
		if p.s.Times < LeastTimes || p.s.Times > MostTimes {
			p.fail(reason.Refuse("6 times best 3 of 4d6", "dice.refuse.times", "times", p.s.Times, "least", LeastTimes, "most", MostTimes))
		}
	}
	p.s.Mine = p.side()
	if p.isStage() {
		p.s.Stages = append(p.s.Stages, p.stage())
	}
	if p.take("against") {
		p.against()
	}
	for p.peek().kind == comma {
		p.next()
		p.part()
	}
}

// against reads the other side: a total, or a pool if mine is one.
func (p *parser) against() {
	theirs := p.side()
	if p.isStage() {
		stage := p.stage()
		theirs.Stage = &stage
	}
	p.s.Theirs = &theirs
}

// part reads what stands between two commas.
func (p *parser) part() {
	switch {
	case p.take("at"):
		p.want("least", expectLeast)
		p.s.AtLeast = p.number(expectLeast)
		if p.s.AtLeast == 0 {
			p.fail(reason.Refuse("12d6 4+, at least 5", "dice.refuse.at_least"))
		}
		if p.peek().kind != end {
			p.wrong(expectEnd)
		}
	case p.s.Theirs != nil:
		p.wrong(expectLeast)
	case p.is("damage") && p.s.Hurt == nil:
		p.hurt()
	case p.is("last") && p.s.Hurt != nil && p.s.Hurt.Last == nil && p.s.Hurt.Models == 0:
		p.lastSave()
	case p.is("into") && p.s.Hurt != nil && p.s.Hurt.Models == 0:
		p.into()
	case p.s.Hurt == nil && p.isStage():
		p.s.Stages = append(p.s.Stages, p.stage())
	default:
		p.wrong(expectPart)
	}
}

func (p *parser) hurt() {
	p.next()
	p.s.Hurt = &Hurt{Amount: p.amount()}
}

// amount reads "2", "d3" or "2d6+1".
func (p *parser) amount() attack.Amount {
	a := attack.Amount{}
	if p.peek().kind == number && p.ahead().text != "d" {
		a.Plus = p.next().n
	} else {
		a.Dice, a.Sides = p.dice(expectDamage)
		if p.peek().text == "+" {
			p.next()
			a.Plus = p.number(expectDamage)
		}
	}
	if a.Plus > MostNumber || a.Dice > attack.MostAmountDice {
		p.fail(reason.Refuse("6d6 4+, damage 2d6+1", "dice.refuse.damage", "most", MostNumber, "dice", attack.MostAmountDice))
	}
	return a
}

func (p *parser) lastSave() {
	p.next()
	p.want("save", expectLast)
	n, ok := p.need()
	if !ok {
		p.wrong(expectLast)
	}
	p.s.Hurt.Last = &n
}

func (p *parser) into() {
	p.next()
	p.s.Hurt.Models = p.number(expectInto)
	p.want("of", expectInto)
	p.s.Hurt.Wounds = p.number(expectInto)
	h := p.s.Hurt
	if p.err == nil && (h.Models < 1 || h.Models > MostModels || h.Wounds < 1 || h.Wounds > MostWounds) {
		p.fail(reason.Refuse("6d6 4+, damage d3, into 10 of 3", "dice.refuse.into", "models", MostModels, "wounds", MostWounds))
	}
}
