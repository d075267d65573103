package commands

import (
	"math"

	"drumhead/commands/chat"
	"drumhead/commands/picture"
)

// picture draws a law as bars, its middle on a band, what fell with a flag.
func (c chances) picture() []chat.Recipe {
	if c.what == oddsWinner || len(c.law.Chance) < 2 {
		return nil
	}
	first, last := c.shown()
	from, to, chance := c.law.Middle(middleShare)
	say := func(id string, pairs ...any) string { return flat(c.ask.say(id, pairs...)) }
	p := picture.Odds{
		Title: withoutStop(flat(c.head)), Detail: withoutStop(flat(c.sentence())),
		Axis: say(axisWords[c.what]), First: first,
		Band: &picture.Band{From: from, To: to, Words: say("odds.picture.band", "from", from, "to", to, "chance", percent(chance))},
	}
	if from == to {
		p.Band.Words = say("odds.picture.band_one", "from", from, "chance", percent(chance))
	}
	for n := first; n <= last; n++ {
		p.Chances = append(p.Chances, int(math.Round(1e6*c.law.Exactly(n))))
	}
	if c.fell != nil && *c.fell >= first && *c.fell <= last {
		p.Fell = &picture.Flag{At: *c.fell, Words: say("odds.picture.fell", "n", *c.fell)}
	}
	p.Alt = altOf(c.lines()...)
	return drawn(p, "odds")
}

// axisWords name what is counted, by the quantity.
var axisWords = map[string]string{
	"odds.what.successes": "odds.axis.successes", "odds.what.through": "odds.axis.through", "odds.what.damage": "odds.axis.damage",
	"odds.what.models": "odds.axis.models", "odds.what.wounds": "odds.axis.wounds", "odds.what.total": "odds.axis.total", "odds.what.left": "odds.axis.left",
	"odds.what.crossed": "odds.axis.crossed",
}

// shown is the stretch of a law that is drawn: values that are next to impossible
// at either end are left out, but never what fell.
func (c chances) shown() (first, last int) {
	const bare = 5e-5 // lower than a line on the chart
	first, last = c.law.Least, c.law.Least+len(c.law.Chance)-1
	for first < last && c.law.Exactly(first) < bare && (c.fell == nil || *c.fell != first) {
		first++
	}
	for last > first && c.law.Exactly(last) < bare && (c.fell == nil || *c.fell != last) {
		last--
	}
	if c.law.Least == 0 && first < 6 {
		first = 0
	}
	return first, min(last, first+picture.MaxBars-1)
}

// withoutStop is a sentence as a title.
func withoutStop(s string) string {
	for len(s) > 0 && (s[len(s)-1] == '.' || s[len(s)-1] == ':') {
		s = s[:len(s)-1]
	}
	return s
}
