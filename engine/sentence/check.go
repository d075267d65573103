package sentence

import (
	"strconv"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// check refuses what can be read but not rolled. For an `again` it looks only at
// what does not depend on the dice.
func (s Sentence) check() error {
	for _, check := range [...]func(Sentence) error{Sentence.checkDice, Sentence.checkShape, Sentence.checkStages,
		Sentence.checkNeeds, Sentence.checkTotals, Sentence.checkMost} {
		if err := check(s); err != nil {
			return err
		}
	}
	return nil
}

// sides lists the sides that are rolled.
func (s Sentence) sides() []Side {
	if s.Theirs == nil {
		return []Side{s.Mine}
	}
	return []Side{s.Mine, *s.Theirs}
}

func (s Sentence) checkDice() error {
	n := 0
	for _, side := range s.sides() {
		for _, t := range side.Terms {
			n += t.attack().Dice * s.Times
			if t.Tens {
				n += s.Times
			}
		}
	}
	if n > MostDice {
		return reason.Refuse("1000d6 4+", "dice.refuse.many_dice", "count", strconv.Itoa(n), "most", MostDice)
	}
	return nil
}

// plain tells whether the side is nothing but dice of one kind, which a stage
// can look at one by one.
func (s Side) plain() bool {
	return len(s.Terms) == 1 && s.Plus == 0 && s.Total == nil && s.Terms[0] == Term{Dice: s.Terms[0].Dice, Sides: s.Terms[0].Sides}
}

func (s Sentence) checkShape() error {
	if s.Again {
		return nil
	}
	switch shape := s.Shape(); {
	case shape == Chain && !s.Mine.plain():
		return s.refuseAdded(s.Stages[0].Need)
	case shape == Pools && (len(s.Stages) != 1 || !s.Mine.plain() || !s.Theirs.plain()),
		shape == Opposed && (len(s.Stages) != 0 || s.Mine.Total != nil || s.Theirs.Total != nil):
		return reason.Refuse("2d6 against 2d6", "dice.refuse.against")
	case s.Hurt != nil && shape != Chain:
		return reason.Refuse("6d6 4+, damage d3", "dice.refuse.damage_need")
	case s.AtLeast > 0 && shape != Chain && shape != Pools:
		return reason.Refuse("12d6 4+, at least 5", "dice.refuse.at_least_total")
	case s.AtLeast > MostDrawn:
		return reason.Refuse("12d6 4+, at least 5", "dice.refuse.at_least")
	}
	return nil
}

// refuseAdded refuses a need for each die where dice are added up, and says the
// same sentence with `total`, if that would do.
func (s Sentence) refuseAdded(need attack.Need) error {
	example := "2d6+1 total 9+"
	total := Sentence{Times: s.Times, Mine: s.Mine}
	if total.Mine.Total == nil {
		total.Mine.Total = &need
	}
	if total.check() == nil {
		example = total.Format()
	}
	return reason.Refuse(example, "dice.refuse.added", "need", need.String())
}

func (s Sentence) checkStages() error {
	if len(s.Stages) > MostStages {
		return reason.Refuse("20d6 3+, 4+, save 5+", "dice.refuse.stages", "count", len(s.Stages), "most", MostStages)
	}
	saves := 0
	for i := len(s.Stages) - 1; i >= 0; i-- {
		st := s.Stages[i]
		switch {
		case st.Top == 0:
		case st.Save:
			return reason.Refuse("12d6 4+ 6s count twice, save 5+", "dice.refuse.save_natural")
		case st.Need.OrLess:
			return reason.Refuse("12d6 4+ 6s count twice", "dice.refuse.natural_or_less")
		case st.Next && i == len(s.Stages)-1:
			return reason.Refuse("12d6 3+ 6s pass next, 4+", "dice.refuse.no_next")
		case st.NoSave && saves == 0:
			return reason.Refuse("12d6 4+ 6s no save, save 4+", "dice.refuse.no_later_save")
		}
		if st.Save {
			saves++
		}
	}
	if t := s.Theirs; t != nil && t.Stage != nil && (t.Stage.Save || t.Stage.Next || t.Stage.NoSave || s.Stages[0].Save) {
		return reason.Refuse("8d6 4+ against 5d6 5+", "dice.refuse.against")
	}
	return nil
}

// checkNeeds looks at the needs of each die, once the dice are known.
func (s Sentence) checkNeeds() error {
	if s.Again {
		return nil
	}
	if s.Theirs != nil && s.Theirs.Stage != nil {
		t := s.Theirs.Terms[0]
		if err := s.Theirs.Stage.check(t.Dice, t.Sides); err != nil {
			return err
		}
	}
	d := s.Dice()
	for _, st := range s.Stages {
		if err := st.check(d.Dice, d.Sides); err != nil {
			return err
		}
	}
	if s.Hurt != nil && s.Hurt.Last != nil {
		return Stage{Need: *s.Hurt.Last}.check(d.Dice, d.Sides)
	}
	return nil
}

// FewDice is how many dice somebody may well mean to add up when they ask for
// more than one of them can show.
const FewDice = 4

// check refuses a need that each die or none shows, and a natural face that is
// not the highest.
func (st Stage) check(dice, sides int) error {
	n := st.Need
	if st.Top != 0 && st.Top != sides {
		return reason.Refuse("12d6 4+ 6s count twice", "dice.refuse.natural_face", "face", st.Top, "sides", sides)
	}
	switch {
	case n.OrLess && (n.Face < 1 || n.Face >= sides):
		return reason.Refuse("d"+strconv.Itoa(sides)+" 1 or less", "dice.refuse.or_less", "need", n.String(), "sides", sides, "most", sides-1)
	case n.OrLess:
		return nil
	case n.Face < 2:
		return reason.Refuse(hardest(dice, sides), "dice.refuse.low", "need", n.String(), "sides", sides)
	case n.Face > sides && dice > 1 && dice <= FewDice && n.Face <= dice*sides:
		return reason.Refuse(strconv.Itoa(dice)+"d"+strconv.Itoa(sides)+" total "+n.String(), "dice.refuse.high_total", "need", n.String(), "sides", sides)
	case n.Face > sides:
		shown := n.String()
		if n.Face >= tooLarge {
			shown = "That"
		}
		return reason.Refuse(hardest(dice, sides), "dice.refuse.high", "need", shown, "sides", sides)
	}
	return nil
}

// hardest is so many dice that each need their highest face.
func hardest(dice, sides int) string {
	return strconv.Itoa(dice) + "d" + strconv.Itoa(sides) + " " + attack.AtLeast(sides).String()
}

// bounds are the lowest and highest sum of a side.
func (s Side) bounds() (least, most int) {
	least, most = s.Plus, s.Plus
	for _, t := range s.Terms {
		low, high := t.Dice, t.Dice*t.Sides
		switch {
		case t.Tens:
			low, high = 11, 66
		case t.Keep != 0:
			low = max(t.Keep, -t.Keep)
			high = low * t.Sides
		case t.Open:
			high *= 1 + MostOpen
		}
		if t.Minus {
			low, high = -high, -low
		}
		least, most = least+low, most+high
	}
	return least, most
}

// checkTotals refuses a total that always comes, or never.
func (s Sentence) checkTotals() error {
	n := s.Mine.Total
	if n == nil {
		return nil
	}
	least, most := s.Mine.bounds()
	from, to := least+1, most
	if n.OrLess {
		from, to = least, most-1
	}
	if n.Face < from || n.Face > to {
		return reason.Refuse("2d6 total 9+", "dice.refuse.total", "need", n.String(), "least", from, "most", to)
	}
	return nil
}

// checkMost refuses what could draw too many dice in the worst case.
func (s Sentence) checkMost() error {
	if s.Again {
		return nil
	}
	if n := s.most(); n > MostDrawn {
		return reason.Refuse("100d6 4+", "dice.refuse.drawn", "count", n, "most", MostDrawn)
	}
	if s.Hurt != nil && s.Times*s.attack().Blows() > MostBlows {
		return reason.Refuse("60d6 4+, damage d3, into 10 of 3", "dice.refuse.blows", "most", MostBlows)
	}
	return nil
}
