package commands

import (
	"slices"
	"strings"
	"unicode"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/engine/luck"
	"drumhead/storage"
)

func luckCommands() []command {
	return []command{{
		Spec: args.Spec{Name: "luck", Help: "is this luck ordinary? over a whole evening, battle or season", Example: "/luck Bo season",
			Params: []args.Param{{Name: "name", Kind: args.Person, Optional: true, Help: "whose; yours if left out"},
				{Name: "over", Kind: args.Words, Optional: true, Help: "evening, battle or season; everybody"}}},
		plan: planLuck,
	}}
}

// over is what stretch of play luck is counted over, by its word.
type over string

// The stretches. Whoever asks picks one of them and never where it begins.
const (
	overEvening over = "evening"
	overBattle  over = "battle"
	overSeason  over = "season"
)

// overs is every word for a stretch.
var overs = map[string]over{
	"evening": overEvening, "tonight": overEvening, "night": overEvening,
	"battle": overBattle, "season": overSeason,
}

// everybody is said for all dice of a place together.
var everybody = []string{"everybody", "everyone", "all", "here"}

// since are words by which somebody picks where counting begins or ends.
var since = []string{"since", "after", "before", "from", "last", "until", "till", "roll", "rolls", "hour", "hours", "now", "today", "yesterday"}

// lucky is a question for luck as it was understood.
type lucky struct {
	who  chat.Person // "" for everybody
	over over
}

// planLuck counts dice and says how ordinary they are.
func planLuck(a *ask) (*answer, error) {
	if !a.here.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	q, err := a.luckAsked()
	if err != nil {
		return nil, err
	}
	span, err := a.spanOf(q.over)
	if err != nil {
		return nil, err
	}
	tallies := proof.NewTallies(a.desk.file, span)
	for raw, err := range a.desk.store.Read(a.ctx, a.here.ledger, 0, a.here.head.Size) {
		if err != nil {
			return nil, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return nil, err
		}
		if err := tallies.Entry(rec); err != nil {
			return nil, err
		}
	}
	tally := tallies.All()
	if q.who != "" {
		tally = tallies.By[a.here.seats[q.who]]
	}
	if tally == nil || tally.Dice() == 0 {
		return nil, refuse("/luck season", "luck.refuse.none", "who", a.luckOf(q), "over", a.say("luck.over."+string(q.over)))
	}
	_, last := tallies.When()
	return only(a.luckPost(q, tally.Look(), q.over == overEvening && a.now.Sub(last) >= proof.Rest))
}

// luckAsked reads whose luck is asked for, and over what.
func (a *ask) luckAsked() (lucky, error) {
	q := lucky{who: a.msg.Person, over: a.usualOver()}
	if name := a.value("name"); name != "" {
		var err error
		if q.who, err = a.find(name, "/luck"); err != nil {
			return q, err
		}
	}
	for _, word := range strings.Fields(strings.ToLower(a.value("over"))) {
		word = strings.Trim(word, ".,;!?")
		switch {
		case overs[word] != "":
			q.over = overs[word]
		case slices.Contains(everybody, word) && a.value("name") == "":
			q.who = ""
		case slices.Contains(since, word) || strings.ContainsFunc(word, unicode.IsDigit):
			return q, refuse("/luck evening", "luck.refuse.since")
		case slices.Contains([]string{"", "the", "this", "whole", "over", "of", "my"}, word):
		default:
			var err error
			if q.who, err = a.find(word, "/luck"); err != nil {
				return q, err
			}
		}
	}
	return q, nil
}

// usualOver is the battle here while one is played, else the evening.
func (a *ask) usualOver() over {
	if _, s, ok := proof.BattlesOf(a.here.game).Newest(); ok && s.Stage != battle.Ended {
		return overBattle
	}
	return overEvening
}

// spanOf finds the entries of a stretch.
func (a *ask) spanOf(o over) (proof.Span, error) {
	switch o {
	case overBattle:
		seq, _, ok := proof.BattlesOf(a.here.game).Newest()
		if !ok {
			return proof.Span{}, refuse("/luck evening", "luck.refuse.battle")
		}
		return proof.Span{Battle: seq}, nil
	case overEvening:
		return proof.Span{Evening: true}, nil
	}
	return proof.Span{}, nil
}

// luckOf names whose luck it is. Nobody is called here by being looked at.
func (a *ask) luckOf(q lucky) any {
	if q.who == "" {
		return a.say("luck.everybody")
	}
	return said(a.desk.somebody(q.who).Name)
}

// mostFew is how many counts are shown that are too few to be looked at.
const mostFew = 4

// luckPost says in one sentence how ordinary luck is, and then what was counted.
func (a *ask) luckPost(q lucky, r luck.Report, past bool) chat.Post {
	stretch := "luck.over." + string(q.over)
	if past {
		stretch = "luck.over.past"
	}
	id := map[luck.Verdict]string{luck.TooFew: "luck.few", luck.Ordinary: "luck.ordinary", luck.Uncommon: "luck.rare", luck.TooOdd: "luck.odd"}[r.Verdict]
	p := a.post(a.say(id, "who", a.luckOf(q), "over", a.say(stretch), "n", r.Dice, "tries", luck.LeastTries, "faces", 6*luck.LeastFaces))
	for _, c := range r.Counts {
		p.Lines = append(p.Lines, a.countLine(c, pValue(c.P)))
	}
	for _, c := range r.Few[:min(len(r.Few), mostFew)] {
		p.Lines = append(p.Lines, a.countLine(c, flat(a.say("luck.untested"))))
	}
	if r.Worst >= 0 {
		worst, id := r.Counts[r.Worst], "luck.worst"
		if len(r.Counts) == 1 {
			id = "luck.single"
		}
		p.Lines = append(p.Lines, a.say(id, "what", a.counted1(worst), "way", a.say(wayOf(worst)),
			"chance", inHundred(worst.P), "n", len(r.Counts), "worst", inHundred(worst.Holm)))
	}
	if len(r.Counts) > 0 {
		p.Lines = append(p.Lines, a.say("luck.p", "p", pValue(r.Counts[0].P), "chance", inHundred(r.Counts[0].P)))
	}
	p.Lines = append(p.Lines, a.say("luck.counted"))
	if scene, ok := a.luckScene(a.luckOf(q), stretch, r); ok {
		p.Pictures = drawn(scene, "luck")
	}
	return p
}
