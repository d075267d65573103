package commands

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// ClaimStands is how long a reported result waits for an objection.
const ClaimStands = 48 * time.Hour

// resultExample is a result as it is said.
const resultExample = "/result Ann beat Bo 7 to 5 at Alder Ford"

func resultCommands() []command {
	claim := []args.Param{{Name: "report", Kind: args.Number, Optional: true, Help: "which report, if several wait"}}
	return []command{
		{Spec: args.Spec{Name: "result", Help: "report a game played elsewhere", Example: resultExample,
			Params: []args.Param{{Name: "words", Kind: args.Words, Help: "who beat or drew whom, the score, where"}}}, plan: planResult},
		{Spec: args.Spec{Name: "standings", Mode: args.Private, Help: "of this campaign", Example: "/standings"}, plan: planStandings},
		{Spec: args.Spec{Name: "campaign agree", Help: "a report is right", Example: "/campaign agree 1", Params: claim}, plan: planAgreeClaim},
		{Spec: args.Spec{Name: "campaign object", Help: "a report is not so, or take yours back", Example: "/campaign object 1", Params: claim}, plan: planObjectClaim},
	}
}

// planResult reports a battle that was played elsewhere. By one of the two it
// counts once the other agrees, or lets it stand; the word of an organiser who
// did not play counts at once.
func planResult(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	text := strings.TrimSpace(a.value("words"))
	if m := spokenAnswer.FindStringSubmatch(text); m != nil {
		n, _ := strconv.Atoi(m[2]) // at most nine digits, or none
		return t.answer(m[1], n, m[2] != "")
	}
	said, ok := speak(text)
	if !ok {
		return nil, refuse(resultExample, "campaign.refuse.words")
	}
	score, err := t.reported(said)
	if err != nil {
		return nil, err
	}
	if a.msg.Organiser && !slices.Contains(score.Players, t.view.seats[a.msg.Person]) {
		return t.does(campaign.Result{How: campaign.HowRuled, Organiser: true, Score: &score})
	}
	if err := t.foughtOver(score); err != nil {
		return nil, err
	}
	return t.does(campaign.Report{Score: score, Until: a.now.Add(ClaimStands).UnixMilli()})
}

// foughtOver refuses a report of a region for which the two are playing a battle
// here: that one will report itself. An organiser who did not play may still rule.
func (t atlas) foughtOver(s campaign.Score) error {
	if s.Region == "" {
		return nil
	}
	for _, g := range t.ask.desk.somebody(t.view.person(s.Players[0])).Games {
		if g.What != battleGame {
			continue
		}
		v, err := t.ask.there(g.Place)
		if err != nil {
			return err
		}
		f, ok, err := t.ask.battleIn(v)
		if err != nil {
			return err
		}
		if ok && f.Stage != battle.Ended && f.Terms.Region == s.Region && f.Terms.Campaign == t.view.ledger.String() &&
			f.SideOf(v.seats[t.view.person(s.Players[1])]) != battle.Nobody {
			return refuse("/battle status", "battle.refuse.contested", "region", t.named(s.Region), "title", f.title(), "entry", number(int64(f.seq)))
		}
	}
	return nil
}

// spokenAnswer is an answer to a report, as one may type it.
var spokenAnswer = regexp.MustCompile(`(?i)^(right|yes|agreed?|not so|no)(?:\s+#?(\d{1,9}))?\s*[.!]?$`)

// answer says right or not so to a report: the one named, else the only one that
// waits for who says it.
func (t atlas) answer(word string, number int, named bool) (*answer, error) {
	if !named {
		waiting := t.waitingFor(t.view.seats[t.ask.msg.Person])
		if len(waiting) != 1 {
			return nil, t.whichReport(waiting)
		}
		number = waiting[0].Number
	}
	if word := strings.ToLower(word); word == "no" || word == "not so" {
		return t.does(campaign.Object{Claim: number})
	}
	return t.does(campaign.Agree{Claim: number})
}

// whichReport refuses an answer that names none of several reports, or has none
// to answer. A post lists them by their numbers.
func (t atlas) whichReport(waiting []campaign.Claim) error {
	if len(waiting) == 0 {
		return refuse("/due", "campaign.refuse.noclaim")
	}
	var list chat.Line
	for i, c := range waiting {
		if i > 0 {
			list = append(list, chat.Span{Kind: chat.Plain, Text: "; "})
		}
		list = append(list, t.say("campaign.refuse.whichitem", "number", c.Number, "battle", t.score(c.Score))...)
	}
	return refuse("/campaign agree "+strconv.Itoa(waiting[0].Number), "campaign.refuse.whichclaim", "n", len(waiting), "reports", list)
}

func planAgreeClaim(a *ask) (*answer, error) { return a.answers("right") }

func planObjectClaim(a *ask) (*answer, error) { return a.answers("not so") }

func (a *ask) answers(word string) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, named := a.values.Number("report")
	return t.answer(word, n, named)
}

// does is the one act of somebody in this campaign. What the rules refuse is
// refused here, with the names of this campaign's people: its place may be
// another than the one where it is said.
func (t atlas) does(do campaign.Act) (*answer, error) {
	by := t.view.seats[t.ask.msg.Person]
	if err := campaign.Check(t.State, campaign.Command{By: by, Act: do}); err != nil {
		return nil, t.settled(do, t.peopled(err))
	}
	return act1(act{place: t.view.place, command: do.Name(), args: do, tell: tellResult})
}

// settled says of an answer that comes too late what has settled the report.
func (t atlas) settled(do campaign.Act, refused error) error {
	claim := 0
	switch do := do.(type) {
	case campaign.Agree:
		claim = do.Claim
	case campaign.Object:
		claim = do.Claim
	}
	if _, open := t.Claim(claim); claim == 0 || claim > t.Claimed || open {
		return refused
	}
	for seq := t.view.head.Size; seq > 0; seq-- {
		rec, err := t.ask.entry(t.view, seq-1)
		if err != nil {
			return err
		}
		if t.settles(rec, claim) {
			return refuse("/campaign gazette", "campaign.refuse.settled", "report", claim, "entry", number(int64(rec.Seq)), "what", t.ask.cameOf(t.view, rec.Seq))
		}
	}
	return refused
}

// settles tells whether an entry ended a report's waiting: it counted, was
// corrected, or was taken back.
func (t atlas) settles(rec storage.Record, claim int) bool {
	for _, raw := range rec.Events {
		e, err := campaign.ParseEvent(raw)
		if err != nil {
			continue
		}
		switch e := e.(type) {
		case *campaign.Resulted:
			return e.Claim == claim
		case *campaign.Claimed:
			return e.Instead == claim
		case *campaign.Objected:
			return e.Claim == claim // the newest: by who reported it
		}
	}
	return false
}

// peopled puts the people of this campaign into a refusal.
func (t atlas) peopled(err error) error {
	var r *reason.Refusal
	if !errors.As(err, &r) {
		return err
	}
	named := *r
	named.Reason.Args = slices.Clone(r.Reason.Args)
	for i, arg := range named.Reason.Args {
		if p, ok := arg.Value.(reason.Person); ok {
			named.Reason.Args[i].Value = t.view.who(string(p))
		}
	}
	return &named
}

// reported settles whom and what a spoken result means.
func (t atlas) reported(s spoken) (campaign.Score, error) {
	one, err := t.seat(s.subject)
	if err != nil {
		return campaign.Score{}, err
	}
	if s.other == "" {
		return t.contradicted(one, s)
	}
	other, err := t.seat(s.other)
	if err != nil {
		return campaign.Score{}, err
	}
	if one == other {
		return campaign.Score{}, refuse(resultExample, "campaign.refuse.self")
	}
	score := campaign.Score{Players: []string{one, other}, Scores: s.scores, Winner: s.winner(one, other)}
	if s.region == "" {
		return score, nil
	}
	r, err := t.region(s.region, resultExample)
	score.Region = r.ID
	return score, err
}

// contradicted is a result without an opponent: it speaks of the battle of the
// one report that waits for who says it.
func (t atlas) contradicted(me string, s spoken) (campaign.Score, error) {
	waiting := t.waitingFor(me)
	if len(waiting) != 1 {
		return campaign.Score{}, refuse(resultExample, "campaign.refuse.against")
	}
	score := waiting[0].Score
	other := score.Players[0]
	if other == me {
		other = score.Players[1]
	}
	score.Players, score.Scores, score.Winner = []string{me, other}, s.scores, s.winner(me, other)
	return score, nil
}

func (s spoken) winner(one, other string) string {
	return map[verb]string{verbBeat: one, verbLost: other}[s.verb]
}

// seat is the pseudonym of a player by name, "" for who speaks.
func (t atlas) seat(name string) (string, error) {
	who := t.ask.msg.Person
	if name != "" {
		var err error
		if who, err = t.player(name); err != nil {
			return "", err
		}
	}
	seat := t.view.seats[who]
	if _, joined := t.Player(seat); !joined {
		return "", refuse("/campaign join", "campaign.refuse.notin", "who", t.ask.desk.who(who))
	}
	return seat, nil
}

// player finds whom a name means here: of several who are called alike the one
// who takes part.
func (t atlas) player(name string) (chat.Person, error) {
	var in []chat.Person
	for _, p := range t.ask.desk.named(t.ask.msg.Community, name) {
		if _, joined := t.Player(t.view.seats[p]); joined {
			in = append(in, p)
		}
	}
	if len(in) == 1 {
		return in[0], nil
	}
	return t.ask.find(name, resultExample)
}

// waitingFor lists the reports that wait for a player's word.
func (t atlas) waitingFor(player string) []campaign.Claim {
	var out []campaign.Claim
	for _, c := range t.Claims {
		if c.By != player && slices.Contains(c.Score.Players, player) {
			out = append(out, c)
		}
	}
	return out
}

// campaignWaiting lists reports that somebody has to answer, for /due: the other
// of the two, both once it is disputed, and then organisers too.
func campaignWaiting(a *ask, v *view, who chat.Person) []due {
	t := atlasOf(a, v)
	if t.File == nil {
		return nil
	}
	me := v.seats[who]
	tap := func(label, command string) chat.Choice {
		return chat.Choice{Label: label, Command: command, Who: []chat.Person{who}, Place: v.place, Size: v.head.Size}
	}
	var list []due
	for _, c := range t.Claims {
		played := slices.Contains(c.Score.Players, me)
		n := strconv.Itoa(c.Number)
		switch {
		case played && c.By != me:
			d := due{work: 1, line: t.say("campaign.due", "title", t.title(), "battle", t.score(c.Score), "report", c.Number), tap: tap("Right", "/campaign agree "+n)}
			if !c.Disputed { // a disputed one has no deadline: time alone does not settle it
				d.till = time.UnixMilli(c.Until).UTC()
			}
			list = append(list, d)
		case played && c.Disputed:
			list = append(list, due{work: 2, line: t.say("campaign.due_own", "title", t.title(), "battle", t.score(c.Score), "report", c.Number), tap: tap("Take it back", "/campaign object "+n)})
		case a.msg.Organiser && c.Disputed:
			list = append(list, due{work: 2, line: t.say("campaign.due_rule", "title", t.title(), "battle", t.score(c.Score), "report", c.Number)})
		}
	}
	return list
}

// planUnopposed lets a report count that nobody objected to in time.
func planUnopposed(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("claim")
	r := campaign.Result{Claim: n, How: campaign.HowUnopposed}
	return act1(act{place: t.view.place, command: r.Name(), args: r, bot: true, tell: tellResult})
}
