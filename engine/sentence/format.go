package sentence

import (
	"strconv"
	"strings"

	"drumhead/engine/attack"
)

// Format writes the sentence in its one spelling, with its label. Plain is the
// same without the label: nothing of it is a player's own words.
func (s Sentence) Format() string {
	if s.Label == "" {
		return s.Plain()
	}
	return s.Plain() + " for " + s.Label
}

// Plain is the sentence without its label. It is printable ASCII.
func (s Sentence) Plain() string {
	var b strings.Builder
	switch {
	case s.Again:
		b.WriteString("again")
	default:
		if s.Times > 1 {
			b.WriteString(strconv.Itoa(s.Times) + " times ")
		}
		b.WriteString(s.Mine.format())
	}
	for i, st := range s.Stages {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(" " + st.format())
	}
	if s.Theirs != nil {
		b.WriteString(" against " + s.Theirs.format())
		if s.Theirs.Stage != nil {
			b.WriteString(" " + s.Theirs.Stage.format())
		}
	}
	if s.Hurt != nil {
		b.WriteString(s.Hurt.format())
	}
	if s.AtLeast > 0 {
		b.WriteString(", at least " + strconv.Itoa(s.AtLeast))
	}
	return b.String()
}

// format writes dice in the order said and numbers last, except that a number
// goes first where nothing else could.
func (s Side) format() string {
	var b strings.Builder
	first := s.Terms[0].Minus
	if first {
		b.WriteString(strconv.Itoa(max(0, s.Plus)))
	}
	for i, t := range s.Terms {
		switch {
		case t.Minus:
			b.WriteByte('-')
		case i > 0:
			b.WriteByte('+')
		}
		b.WriteString(t.format())
	}
	switch {
	case s.Plus > 0 && !first:
		b.WriteString("+" + strconv.Itoa(s.Plus))
	case s.Plus < 0:
		b.WriteString(strconv.Itoa(s.Plus))
	}
	if s.Total != nil {
		b.WriteString(" total " + s.Total.String())
	}
	return b.String()
}

func (t Term) format() string {
	dice := attack.Amount{Dice: t.Dice, Sides: t.Sides}.String()
	switch {
	case t.Tens:
		return "d66"
	case t.Keep > 0:
		return "best " + strconv.Itoa(t.Keep) + " of " + dice
	case t.Keep < 0:
		return "worst " + strconv.Itoa(-t.Keep) + " of " + dice
	case t.Open:
		return dice + " open-ended"
	}
	return dice
}

// rerollWords are the re-rolls as a sentence says them.
var rerollWords = map[attack.Rerolls]string{
	attack.Ones: "1s", attack.Misses: "misses", attack.Passes: "hits", attack.OneMiss: "one miss",
}

func (st Stage) format() string {
	text := st.Need.String()
	if st.Save {
		text = "save " + text
	}
	if st.Rerolls != 0 {
		text += " reroll " + rerollWords[st.Rerolls]
	}
	top := " " + strconv.Itoa(st.Top) + "s "
	if st.Twice {
		text += top + "count twice"
	}
	if st.Next {
		text += top + "pass next"
	}
	if st.NoSave {
		text += top + "no save"
	}
	return text
}

func (h Hurt) format() string {
	text := ", damage " + h.Amount.String()
	if h.Last != nil {
		text += ", last save " + h.Last.String()
	}
	if h.Models > 0 {
		text += ", into " + strconv.Itoa(h.Models) + " of " + strconv.Itoa(h.Wounds)
	}
	return text
}
