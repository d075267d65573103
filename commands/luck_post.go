package commands

import (
	"strconv"
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/luck"
)

// mostShown is the most sides of a die whose counts are listed face by face.
const mostShown = 20

// kindWords are the sentences that name a kind of try.
var kindWords = map[luck.Kind]string{
	luck.Attacks: "luck.kind.attacks", luck.Saves: "luck.kind.saves",
	luck.LastSaves: "luck.kind.last", luck.Tests: "luck.kind.tests",
}

// counted1 names what was counted: a kind of try, or the faces of a die.
func (a *ask) counted1(c luck.Count) chat.Line {
	if c.Sides > 0 {
		return a.say("luck.kind.faces", "sides", c.Sides)
	}
	return a.say(kindWords[c.Kind])
}

// countLine shows one count, and how odd it is taken alone.
func (a *ask) countLine(c luck.Count, odd string) chat.Line {
	if c.Sides == 0 {
		return a.say("luck.tries", "what", a.counted1(c), "made", c.Made, "n", c.N, "expected", decimal(c.Expected), "p", odd)
	}
	faces := strconv.Itoa(c.N)
	id := "luck.many"
	if c.Sides <= mostShown {
		id = "luck.faces"
		list := make([]string, len(c.Faces))
		for i, n := range c.Faces {
			list[i] = strconv.Itoa(n)
		}
		faces = strings.Join(list, " ")
	}
	return a.say(id, "sides", c.Sides, "counts", faces, "p", odd)
}

// wayOf says to which side a count is off.
func wayOf(c luck.Count) string {
	switch {
	case c.Sides > 0:
		return "luck.way.uneven"
	case float64(c.Made) < c.Expected:
		return "luck.way.fewer"
	}
	return "luck.way.more"
}

// pValue shows a p-value with two digits that count.
func pValue(p float64) string {
	switch {
	case p < 0.001:
		return "p < 0.001"
	case p > 0.995:
		return "p = 1"
	case p >= 0.1:
		return "p = " + strconv.FormatFloat(p, 'f', 2, 64)
	case p >= 0.01:
		return "p = " + strconv.FormatFloat(p, 'f', 3, 64)
	}
	return "p = " + strconv.FormatFloat(p, 'f', 4, 64)
}

// inHundred shows a chance as people say rare things: in so many of a hundred,
// a thousand, a million.
func inHundred(p float64) string {
	switch {
	case p >= 0.0995:
		return strconv.FormatFloat(100*p, 'f', 0, 64) + " in 100"
	case p >= 0.00995:
		return strconv.FormatFloat(100*p, 'f', 1, 64) + " in 100"
	case p >= 0.000995:
		return strconv.FormatFloat(1000*p, 'f', 1, 64) + " in 1000"
	case p >= 0.000001:
		return strconv.FormatFloat(1_000_000*p, 'f', 0, 64) + " in a million"
	}
	return "under 1 in a million"
}
