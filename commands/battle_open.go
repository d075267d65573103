package commands

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/engine/muster"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/storage"
)

// wordForce is the name under which the force of who offers lies sealed beside
// the offer.
const wordForce = "force"

// usualHours is the clock of one handover if nobody says otherwise.
const usualHours = 48

func number64(n uint64) string { return strconv.FormatUint(n, 10) }

// wanted is what somebody says about the terms of a battle.
type wanted struct {
	opponent chat.Person
	points   int
	scenario string
	force    string
	region   string
	turns    int
	hours    int
	dice     string // how they are cut; unsaid: nobody said
}

// unsaid is a term that was left open.
const unsaid = "?"

var (
	spokenDice  = regexp.MustCompile(`(?i)(?:^|[,;\s])dice\s+(?:are\s+)?(?:cut\s+)?(?:by\s+)?(?:the\s+)?(?:other'?s?\s+)?(sealed|beacon|word)\b`)
	spokenTurns = regexp.MustCompile(`(?i)\b(\d{1,3})\s*(?:game\s+)?turns?\b`)
	spokenHours = regexp.MustCompile(`(?i)\b(\d{1,4})\s*(?:hours?|h)\b`)
	spokenDays  = regexp.MustCompile(`(?i)\b(\d{1,3})\s*days?\b`)
	spokenWith  = regexp.MustCompile(`(?i)(?:^|,|\s)with\s+(.+?)(\s*,|\s+for\s|$)`)
	spokenFor   = regexp.MustCompile(`(?i)(?:^|,|\s)for\s+(.+?)(\s*,|\s+with\s|$)`)
)

// spokenAnyone is how an offer to everybody is said.
var spokenAnyone = regexp.MustCompile(`(?i)^any(?:one|body)$`)

// anyone tells whether an offer is open to everybody: nobody here is called so.
func (a *ask) anyone(name string) bool {
	return spokenAnyone.MatchString(name) && len(a.desk.named(a.msg.Community, name)) == 0
}

// wants reads the terms: a scenario, and in any order with FORCE, for REGION, so
// many turns, so many hours a handover.
func (a *ask) wants() (wanted, error) {
	w := wanted{hours: usualHours, dice: unsaid}
	const example = "/battle open Bo 500 Drowned Bridge"
	points, named := a.values.Number("points")
	if named && points < 1 { // nothing is not what is usual
		return w, refuse(example, "battle.refuse.points", "points", points, "most", rules.MostPoints)
	}
	w.points = points
	if name := a.value("opponent"); name != "" && !a.anyone(name) {
		if len(a.desk.named(a.msg.Community, name)) == 0 {
			return w, refuse("/battle open 500 Drowned Bridge", "battle.refuse.unseen", "name", said(name))
		}
		who, err := a.find(name, example)
		if err != nil {
			return w, err
		}
		w.opponent = who
	}
	rest := args.Fold(a.value("terms"))
	if how, left := taken(spokenDice, rest); how != "" {
		w.dice, rest = strings.ToLower(how), left
	}
	for _, number := range []struct {
		what  *regexp.Regexp
		to    *int
		times int
		slot  string
		most  int
	}{{spokenTurns, &w.turns, 1, "turns", battle.MaxTurns}, {spokenDays, &w.hours, 24, "hours", battle.MaxHours}, {spokenHours, &w.hours, 1, "hours", battle.MaxHours}} {
		var said string
		if said, rest = taken(number.what, rest); said != "" {
			n, _ := strconv.Atoi(said) // at most four digits
			if n == 0 {
				return w, refuse(example, "battle.refuse."+number.slot, number.slot, n, "most", number.most)
			}
			*number.to = n * number.times
		}
	}
	w.force, rest = taken(spokenWith, rest)
	w.region, rest = taken(spokenFor, rest)
	w.scenario = strings.Trim(strings.Join(strings.Fields(rest), " "), " ,;")
	return w, nil
}

// taken takes a phrase out of a text: what it says, and the rest. What ended the
// phrase, its second group, begins the next and stays.
func taken(what *regexp.Regexp, text string) (said, rest string) {
	m := what.FindStringSubmatchIndex(text)
	if m == nil {
		return "", text
	}
	keep := " "
	if len(m) > 4 {
		keep += text[m[4]:m[5]]
	}
	return strings.TrimSpace(text[m[2]:m[3]]), text[:m[0]] + keep + text[m[1]:]
}

// scenario finds the scenario that somebody means; the pack's first if none.
func scenarioOf(p *rules.Pack, said string) (*rules.Scenario, error) {
	key := args.Key(said)
	var fits []*rules.Scenario
	for i := range p.Scenarios {
		s := &p.Scenarios[i]
		if key == "" || args.Key(s.Title) == key || args.Key(s.ID) == key {
			return s, nil
		}
		if strings.HasPrefix(args.Key(s.Title), key) {
			fits = append(fits, s)
		}
	}
	if len(fits) == 1 {
		return fits[0], nil
	}
	var names []reason.Name
	for _, s := range p.Scenarios {
		names = append(names, reason.Name(s.Title))
	}
	return nil, refuse("/battle open Bo 500 "+p.Scenarios[0].Title, "battle.refuse.scenario", "scenario", reason.Name(said), "scenarios", names)
}

// planOpen offers a battle.
func planOpen(a *ask) (*answer, error) {
	w, err := a.wants()
	if err != nil {
		return nil, err
	}
	if w.opponent == a.msg.Person {
		return nil, refuse("/battle open", "battle.refuse.self")
	}
	if f, running, err := a.playing(); err != nil || running {
		if err == nil {
			err = refuse("/battle status", "battle.refuse.running", "title", f.title())
		}
		return nil, err
	}
	p, s, err := a.scenario(w.scenario, w.force)
	if err != nil {
		return nil, err
	}
	force, err := a.forceFor(a.msg.Person, p, w.force, w.points)
	if err != nil {
		return nil, err
	}
	if w.points == 0 {
		w.points = max(force.Limit, force.Points(p))
	}
	if w.turns == 0 {
		w.turns = s.Turns
	}
	offer := battle.Offer{Terms: battle.Terms{Pack: p.ID, Edition: p.Edition, SHA256: p.Hash,
		Scenario: s.ID, Points: w.points, Turns: w.turns, Hours: w.hours}}
	if offer.Terms.Dice, err = a.diceOf(w.dice); err != nil {
		return nil, err
	}
	if err := battle.CheckTerms(p, offer.Terms); err != nil {
		return nil, err
	}
	if w.region != "" {
		if err := a.atStake(w, &offer.Terms); err != nil {
			return nil, err
		}
	}
	return a.offer(w, p, offer, force)
}

// offer seals the force and makes the entry.
func (a *ask) offer(w wanted, p *rules.Pack, offer battle.Offer, force muster.Force) (*answer, error) {
	if err := a.pin(p); err != nil {
		return nil, err
	}
	sealed, err := json.Marshal(force)
	if err != nil {
		return nil, err
	}
	if offer.Said, err = a.salt(wordForce, string(sealed)); err != nil {
		return nil, err
	}
	if w.opponent != "" {
		if offer.To, err = a.seat("", w.opponent); err != nil {
			return nil, err
		}
	}
	if err := a.offeredAlready(offer, string(sealed)); err != nil {
		return nil, err
	}
	return act1(act{args: offer, words: []string{wordForce}, tell: func(d *done) (told, error) { return tellOpen(d, offer, p) }})
}

// offeredAlready refuses an offer that stands here just so: to the same person, on the
// same terms, with the same force.
func (a *ask) offeredAlready(offer battle.Offer, force string) error {
	me := a.here.seats[a.msg.Person]
	for _, o := range proof.BattlesOf(a.here.game).Offers {
		if o.By != me || o.To != offer.To || o.Terms != offer.Terms {
			continue
		}
		list, err := a.desk.store.Words(a.ctx, a.here.ledger, o.Seq)
		if err != nil && !errors.Is(err, storage.ErrNone) {
			return err
		}
		for _, w := range list {
			if w.Name == wordForce && w.Text == force {
				return refuse("/battle decline "+number64(o.Seq), "battle.refuse.offered_already", "entry", number(int64(o.Seq)))
			}
		}
	}
	return nil
}

// pin keeps the pack's file, so that the ledger can be replayed for ever.
func (a *ask) pin(p *rules.Pack) error {
	for _, g := range a.desk.games {
		if g.Hash == p.Hash {
			return a.desk.store.Shelf(shelfFiles).Put(a.ctx, storage.KeyValue{Key: p.Hash, Value: g.text})
		}
	}
	return fmt.Errorf("commands: the pack %s is none of this desk", p.ID)
}

// playing tells whether a battle goes on in this place.
func (a *ask) playing() (field, bool, error) {
	f, ok, err := a.battleIn(a.here)
	return f, ok && f.Stage != battle.Ended, err
}

// forceFor chooses a person's force: the one that was named, or the first saved
// one that costs no more than was agreed.
func (a *ask) forceFor(who chat.Person, p *rules.Pack, name string, points int) (muster.Force, error) {
	if name != "" {
		f, err := a.force(who, name)
		if err == nil && f.Pack != p.ID {
			err = refuse("/force show", "battle.refuse.other_game", "force", reason.Name(f.Name), "pack", reason.Name(p.Title))
		}
		if err == nil && points > 0 && f.Points(p) > points {
			err = refuse("/force show", "battle.refuse.dear", "force", reason.Name(f.Name), "points", f.Points(p), "most", points)
		}
		return f, err
	}
	all, err := a.forces(who)
	if err != nil {
		return muster.Force{}, err
	}
	for _, f := range all {
		if f.Pack == p.ID && f.Edition == p.Edition && (points == 0 || f.Points(p) <= points) {
			return f, nil
		}
	}
	if len(all) > 0 {
		return muster.Force{}, refuse("/force show", "battle.refuse.no_fit", "n", len(all), "most", points)
	}
	return muster.Force{}, a.noForce(who)
}

// noForce refuses who has no saved force; a draft that waits is not passed over.
func (a *ask) noForce(who chat.Person) error {
	if who != a.msg.Person {
		return refuse(muster.Example, "battle.refuse.no_force")
	}
	draft, err := a.forceDraft()
	if err != nil {
		return err
	}
	if draft != nil {
		if p, err := a.desk.pack(draft.Pack); err == nil {
			return refuse("/force show draft", "battle.refuse.only_draft", "n", len(draft.Judge(p).Faults))
		}
	}
	return refuse(muster.Example, "battle.refuse.no_force")
}

// atStake puts a region of a campaign into the terms.
func (a *ask) atStake(w wanted, t *battle.Terms) error {
	c, err := a.campaign()
	if err != nil {
		return err
	}
	r, err := c.region(w.region, "/battle open Bo 500 Drowned Bridge for Alder Ford")
	if err != nil {
		return err
	}
	t.Region, t.Campaign = r.ID, c.view.ledger.String()
	if w.opponent == "" {
		return nil
	}
	return c.mayContest(a.msg.Person, w.opponent, r.ID)
}

// mayContest refuses a region that these two cannot fight for.
func (t atlas) mayContest(one, two chat.Person, region string) error {
	for _, who := range []chat.Person{one, two} {
		if _, in := t.view.seats[who]; !in {
			return refuse("/campaign join", "battle.refuse.no_part", "who", t.ask.desk.who(who), "title", t.title())
		}
	}
	return t.peopled(campaign.Contest(t.State, region, t.view.seats[one], t.view.seats[two]))
}

// offers are the offers that stand here and that somebody may answer.
func (a *ask) offerFor(example string) (battle.Offered, error) {
	b := proof.BattlesOf(a.here.game)
	if seq, _, ok := a.values.Entry("offer"); ok {
		if o, there := b.Offer(seq); there {
			return o, nil
		}
		return battle.Offered{}, a.noOffer(example)
	}
	me := a.here.seats[a.msg.Person]
	var fits []battle.Offered
	for _, o := range b.Offers {
		if me == "" && o.To == "" || me != "" && o.May(me) == nil || strings.HasSuffix(example, "decline") && o.By == me && me != "" {
			fits = append(fits, o)
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return battle.Offered{}, a.noOffer("/battle open")
	}
	return battle.Offered{}, refuse(example+" "+number64(fits[len(fits)-1].Seq), "battle.refuse.offers_which", "n", len(fits))
}

// noOffer refuses who answers what is not offered: most often because the battle
// has begun meanwhile.
func (a *ask) noOffer(example string) error {
	f, running, err := a.playing()
	if err != nil {
		return err
	}
	if running {
		return refuse("/battle status", "battle.refuse.running", "title", f.title())
	}
	return refuse(example, "battle.refuse.no_offer")
}

func planDecline(a *ask) (*answer, error) {
	o, err := a.offerFor("/battle decline")
	if err != nil {
		return nil, err
	}
	return act1(act{args: battle.Decline{Offer: o.Seq}, tell: func(d *done) (told, error) {
		id := "battle.declined"
		if d.rec.Player == o.By {
			id = "battle.withdrawn"
		}
		say := d.after.speaker().Say
		p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{say(id, "who", reason.Person(d.rec.Player), "by", reason.Person(o.By), "offer", number(int64(o.Seq)))}}
		return told{posts: []chat.Post{p}}, nil
	}})
}

// tellOpen shows the terms, once, with the choices of who is asked.
func tellOpen(d *done, o battle.Offer, p *rules.Pack) (told, error) {
	a := d.ask
	if who := d.after.person(o.To); who != "" { // an offer waits for them: /due looks here
		if err := a.desk.plays(a.ctx, a.msg.Community, who, game{Place: d.act.place, What: battleGame}); err != nil {
			return told{}, err
		}
	}
	say, t := d.after.speaker().Say, o.Terms
	s := p.Scenario(t.Scenario)
	common := []any{"who", reason.Person(d.rec.Player), "title", reason.Name(s.Title), "points", t.Points,
		"pack", reason.Name(p.Title), "edition", t.Edition}
	head := say("battle.offer.anybody", common...)
	if o.To != "" {
		head = say("battle.offer.one", append(common, "to", reason.Person(o.To))...)
	}
	post := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{head,
		say("battle.offer.turns", "turns", t.Turns, "holds", s.Holds, "objectives", objectiveNames(s)),
		say("battle.offer.lists"), say("battle.offer.dice_" + diceName(t.Dice)), say("cut.fair." + diceName(t.Dice)), say("battle.offer.time", "hours", t.Hours)}}
	if t.Region != "" {
		c, err := d.ask.campaignOf(t)
		if err == nil {
			post.Lines = append(post.Lines, say("battle.offer.region", "region", c.named(t.Region), "campaign", c.title()))
		}
	}
	var who []chat.Person
	if o.To != "" {
		who = []chat.Person{d.after.person(o.To)}
		post.Notify = who
	}
	seq := number64(d.rec.Seq)
	post.Choices = choices(
		chat.Choice{Label: "Accept", Command: "/battle join " + seq, Once: true, Who: who},
		chat.Choice{Label: "Not now", Command: "/battle decline " + seq, Once: true, Who: who})
	return told{posts: []chat.Post{post}}, nil
}

func objectiveNames(s *rules.Scenario) []reason.Name {
	var out []reason.Name
	for _, o := range s.Objectives {
		out = append(out, reason.Name(o.Title))
	}
	return out
}

// campaignOf is the campaign whose region is at stake.
func (a *ask) campaignOf(t battle.Terms) (atlas, error) {
	v, err := a.ledgerView(t.Campaign)
	if err != nil {
		return atlas{}, err
	}
	if v == nil {
		return atlas{}, refuse("/campaign map", "campaign.refuse.none")
	}
	return atlasOf(a, v), nil
}
