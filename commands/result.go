package commands

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

// ClaimHours is how long the other side has to object to a reported result.
const ClaimHours = 48

const exampleResult = "/result Ann beat Bo 7 to 5 at Alder Ford"

func resultCommands() []command {
	return []command{{Spec: args.Spec{Name: "result", Help: "report a game played elsewhere", Example: exampleResult,
		Params: []args.Param{{Name: "words", Kind: args.Words, Help: "who beat whom, how high, and where"}}}, plan: planResult}}
}

// spokenAnswer is what the choices of a claim say, and what one may type.
var spokenAnswer = regexp.MustCompile(`(?i)^(right|yes|agree|not so|no|rule)(?:\s+#?(\d{1,9}))?\s*[.!]?$`)

// planResult reports a battle that was played elsewhere, or answers a report.
func planResult(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	text := strings.TrimSpace(a.value("words"))
	if m := spokenAnswer.FindStringSubmatch(text); m != nil {
		return t.answer(strings.ToLower(m[1]), m[2])
	}
	said, ok := speak(text)
	if !ok {
		return nil, refuse(exampleResult, "result.refuse.unread", "text", reason.Name(clipped(text)))
	}
	score, err := t.reported(said)
	if err != nil {
		return nil, err
	}
	me := t.view.seats[a.msg.Person]
	if !slices.Contains(score.Players, me) {
		if !a.msg.Organiser {
			return nil, refuse(exampleResult, "campaign.refuse.bystander")
		}
		return act1(t.act(campaign.Result{How: campaign.HowRuled, Organiser: true, Score: &score}, false))
	}
	until := a.now.Add(ClaimHours * time.Hour).UnixMilli()
	return act1(t.act(campaign.Report{Score: score, Until: until}, false))
}

// clipped is the beginning of what somebody typed, to be shown again.
func clipped(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// act is an act of this campaign.
func (t atlas) act(do campaign.Act, bot bool) act {
	return act{place: t.view.place, command: do.Name(), args: do, bot: bot, tell: tellCampaign}
}

// answer says right or not so to a claim: the one named, or the only one that
// waits for who says it. An organiser rules that one counts.
func (t atlas) answer(word, number string) (*answer, error) {
	claim, _ := strconv.Atoi(number)
	if claim == 0 {
		waiting := t.waitingFor(t.view.seats[t.ask.msg.Person])
		if len(waiting) != 1 {
			return nil, refuse("/result right 3", "result.refuse.which", "n", len(waiting))
		}
		claim = waiting[0].Number
	}
	switch word {
	case "rule":
		if !t.ask.msg.Organiser {
			return nil, refuse("", "campaign.refuse.organiser.rule")
		}
		return act1(t.act(campaign.Result{How: campaign.HowRuled, Organiser: true, Claim: claim}, false))
	case "not so", "no":
		return act1(t.act(campaign.Object{Claim: claim}, false))
	}
	return act1(t.act(campaign.Agree{Claim: claim}, false))
}

// waitingFor lists the claims that wait for a player's word.
func (t atlas) waitingFor(player string) []campaign.Claim {
	var out []campaign.Claim
	for _, c := range t.Claims {
		if c.By != player && slices.Contains(c.Score.Players, player) {
			out = append(out, c)
		}
	}
	return out
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
		return campaign.Score{}, refuse(exampleResult, "result.refuse.self")
	}
	score := campaign.Score{Players: []string{one, other}, Scores: s.scores, Winner: s.winner(one, other)}
	if s.region == "" {
		return score, nil
	}
	r, err := t.region(s.region, exampleResult)
	score.Region = r.ID
	return score, err
}

// contradicted is a result without an opponent: it speaks of the battle that an
// open claim of somebody else's is about.
func (t atlas) contradicted(me string, s spoken) (campaign.Score, error) {
	waiting := t.waitingFor(me)
	if len(waiting) != 1 {
		return campaign.Score{}, refuse(exampleResult, "result.refuse.against")
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
	return map[verb]string{verbBeat: one, verbLost: other, verbDrew: ""}[s.verb]
}

// seat is the pseudonym of somebody by name, "" for who speaks.
func (t atlas) seat(name string) (string, error) {
	who := t.ask.msg.Person
	if name != "" {
		var err error
		if who, err = t.ask.find(name, exampleResult); err != nil {
			return "", err
		}
	}
	seat, ok := t.view.seats[who]
	if _, joined := t.Player(seat); !ok || !joined {
		return "", refuse("/campaign join", "result.refuse.stranger", "who", t.ask.desk.who(who))
	}
	return seat, nil
}

// planUnopposed lets a claim count that nobody objected to.
func planUnopposed(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("claim")
	return act1(t.act(campaign.Result{How: campaign.HowUnopposed, Claim: n}, true))
}

// claimTimer is the name of the timer that lets a claim count.
func claimTimer(number int) string { return fmt.Sprintf("campaign.claim.%d", number) }

// claims says which timers the claims of a campaign need after an entry: one for
// each new claim that nobody disputes, none for those that were settled.
func (t atlas) claims(before campaign.State, out *told) error {
	for _, c := range before.Claims {
		if now, open := t.Claim(c.Number); !c.Disputed && (!open || now.Disputed) {
			out.cancel = append(out.cancel, claimTimer(c.Number))
		}
	}
	for _, c := range t.Claims {
		if _, known := before.Claim(c.Number); known || c.Disputed {
			continue
		}
		set, err := timer(claimTimer(c.Number), time.UnixMilli(c.Until), "campaign unopposed", args.Values{"claim": strconv.Itoa(c.Number)})
		if err != nil {
			return err
		}
		out.set = append(out.set, set)
	}
	return nil
}

// campaignDue lists the claims that wait for somebody's word, for /due.
func campaignDue(a *ask, v *view, who chat.Person) []due {
	t := atlasOf(a, v)
	if t.File == nil {
		return nil
	}
	var out []due
	for _, c := range t.waitingFor(v.seats[who]) {
		if c.Disputed {
			out = append(out, due{line: t.say("result.due.disputed", "score", t.score(c.Score)), work: 1})
			continue
		}
		out = append(out, due{line: t.say("result.due.claim", "who", reason.Person(c.By), "score", t.score(c.Score)),
			till: time.UnixMilli(c.Until), work: 1})
	}
	return out
}
