package commands

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/sentence"
)

const (
	wide      = 60 // characters of a line that is not free text
	foldAbove = 40 // dice: more are shown by face, with how often each fell
)

// fallen is dice as they lie: those that count first, then, after a dot, the rest.
type fallen struct{ good, rest []int }

// text shows the dice sorted, the best first. More than foldAbove are counted by
// face: "6 ×12, 5 ×9 · 3 ×8".
func (f fallen) text(lowIsGood bool) string {
	sorted := func(faces []int) []int {
		faces = slices.Clone(faces)
		slices.Sort(faces)
		if !lowIsGood {
			slices.Reverse(faces)
		}
		return faces
	}
	good, rest := sorted(f.good), sorted(f.rest)
	show := spread
	if len(good)+len(rest) > foldAbove {
		show = counted
	}
	switch {
	case len(rest) == 0:
		return show(good)
	case len(good) == 0:
		return "none · " + show(rest)
	}
	return show(good) + " · " + show(rest)
}

// spread shows each die.
func spread(faces []int) string {
	out := make([]string, len(faces))
	for i, f := range faces {
		out[i] = strconv.Itoa(f)
	}
	return strings.Join(out, " ")
}

// counted shows each face once, of sorted faces.
func counted(faces []int) string {
	var out []string
	for len(faces) > 0 {
		n := 1
		for n < len(faces) && faces[n] == faces[0] {
			n++
		}
		out = append(out, fmt.Sprintf("%d ×%d", faces[0], n))
		faces = faces[n:]
	}
	return strings.Join(out, ", ")
}

// stepDice parts the dice of a step into those that pass and the rest.
func stepDice(r attack.Rolled, e sentence.Stage) fallen {
	var f fallen
	for _, face := range r.Faces() {
		if e.Need.Met(face) {
			f.good = append(f.good, face)
		} else {
			f.rest = append(f.rest, face)
		}
	}
	return f
}

// saves gathers the saves that models rolled one after another, as one step.
func saves(packets []attack.Packet) attack.Rolled {
	var r attack.Rolled
	for _, p := range packets {
		if p.Save == 0 {
			continue
		}
		if p.SaveAgain > 0 {
			r.Again = append(r.Again, attack.Redone{Die: len(r.Dice), Face: p.SaveAgain})
		}
		r.Dice = append(r.Dice, p.Save)
		if p.Saved {
			r.Passed++
		}
	}
	return r
}

// lastSaves gathers the last saves of all packets, and damage their damage dice.
func lastSaves(packets []attack.Packet) attack.Rolled {
	var r attack.Rolled
	for _, p := range packets {
		for _, a := range p.LastAgain {
			r.Again = append(r.Again, attack.Redone{Die: len(r.Dice) + a.Die, Face: a.Face})
		}
		r.Dice = append(r.Dice, p.Last...)
		r.Passed += p.Stopped
	}
	return r
}

func damage(packets []attack.Packet) []int {
	var dice []int
	for _, p := range packets {
		dice = append(dice, p.Damage...)
	}
	return dice
}

// sumDice shows the dice of a total, term by term, and the number added.
func sumDice(side sentence.Side, sum attack.Sum) string {
	var parts []string
	at := 0
	for _, t := range side.Terms {
		text := termDice(sum.Terms[at])
		if t.Tens {
			at++
			text += " " + termDice(sum.Terms[at])
		}
		at++
		if t.Minus {
			text = "less " + text
		}
		parts = append(parts, text)
	}
	switch {
	case side.Plus > 0:
		parts = append(parts, "+"+strconv.Itoa(side.Plus))
	case side.Plus < 0:
		parts = append(parts, strconv.Itoa(side.Plus))
	}
	return strings.Join(parts, ", ")
}

// termDice shows kept dice first, then after a dot the others; an open-ended die
// as the chain that it became.
func termDice(t attack.TermRolled) string {
	if len(t.More) > 0 {
		return chains(t)
	}
	var f fallen
	for i, v := range t.Values() {
		if t.Kept == nil || slices.Contains(t.Kept, i) {
			f.good = append(f.good, v)
		} else {
			f.rest = append(f.rest, v)
		}
	}
	return f.text(false)
}

func chains(t attack.TermRolled) string {
	out := make([]string, len(t.Dice))
	for i, face := range t.Dice {
		out[i] = strconv.Itoa(face)
	}
	for _, m := range t.More {
		out[m.Die] += "+" + strconv.Itoa(m.Face)
	}
	return strings.Join(out, " ")
}

// glue stands for a space that must not be broken at.
const glue = "\u00a0"

// wrap breaks a text at spaces into lines of at most wide characters, but never
// between a face and how often it fell.
func wrap(text string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Split(strings.ReplaceAll(text, " ×", glue+"×"), " ") {
		word = strings.ReplaceAll(word, glue, " ")
		switch {
		case line == "":
			line = word
		case len([]rune(line))+1+len([]rune(word)) > wide:
			lines = append(lines, line)
			line = word
		default:
			line += " " + word
		}
	}
	return append(lines, line)
}
