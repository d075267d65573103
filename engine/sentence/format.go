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
		b.WriteString(s.Mine.String())
	}
	for i, st := range s.Stages {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(" " + st.String())
	}
	if s.Theirs != nil {
		b.WriteString(" against " + s.Theirs.String())
		if s.Theirs.Stage != nil {
			b.WriteString(" " + s.Theirs.Stage.String())
		}
	}
	if s.Hurt != nil {
		b.WriteString(s.Hurt.String())
	}
	if s.AtLeast > 0 {
		b.WriteString(", at least " + strconv.Itoa(s.AtLeast))
	}
	return b.String()
}

// String writes dice in the order said and numbers last, except that a number
// goes first where nothing else could.
func (s Side) String() string {
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
		b.WriteString(t.String())
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

// String writes the dice of the term, without a sign.
func (t Term) String() string {
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

// String writes the stage, as in "save 5+ reroll 1s".
func (st Stage) String() string {
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

// String writes what each success does, after the comma that begins it.
func (h Hurt) String() string {
	text := ", damage " + h.Amount.String()
	if h.Last != nil {
		text += ", last save " + h.Last.String()
	}
	if h.Models > 0 {
		text += ", into " + strconv.Itoa(h.Models) + " of " + strconv.Itoa(h.Wounds)
	}
	return text
}
