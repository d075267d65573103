package commands

import (
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/storage"
)

// The ways in which dice are cut.
const (
	cutSealed = ""       // by nobody but their seal
	cutBeacon = "beacon" // by a round of the public beacon
	cutWord   = "word"   // by another player's word
)

// How long another player's word is waited for, unless it is a battle by
// message: there a word is a move like any other.
const (
	wordWait       = 10 * time.Minute
	battleWordWait = proof.LongestWait
)

// spokenWithin is how long a word is waited for: "Bo within 2 hours", "Bo, 30 min".
var spokenWithin = regexp.MustCompile(`(?i)^(.*?)(?:\s*,)?\s+(?:within|in|for)?\s*(\d{1,6})\s*(minutes?|mins?|m|hours?|hrs?|h)$`)

// within takes the time that a word has off the name of whose it is; wordWait if none
// is said.
func within(said, example string) (name string, wait time.Duration, err error) {
	m := spokenWithin.FindStringSubmatch(strings.TrimSpace(said))
	if m == nil {
		return said, wordWait, nil
	}
	n, err := strconv.Atoi(m[2]) // at most six digits
	unit := time.Minute
	if strings.HasPrefix(strings.ToLower(m[3]), "h") {
		unit = time.Hour
	}
	if wait = time.Duration(n) * unit; err == nil && (wait < time.Minute || wait > proof.LongestWait) {
		err = refuse(example, "cut.refuse.within", "hours", int(proof.LongestWait.Hours()))
	}
	return m[1], wait, err
}

// wish is how the dice of one command are to be cut.
type wish struct {
	how  string
	by   chat.Person // whose word; for cutWord only
	wait time.Duration
}

// wishFor settles how a command's dice are cut: as was asked for this one, as
// the terms of its battle say, else as it is usual in this place.
func (a *ask) wishFor(act *act, g *gathered, c proof.Command) (wish, error) {
	if act.wish != nil {
		return *act.wish, nil
	}
	if terms, other, ok := termsOf(g.now, c); ok {
		w := wish{how: terms.Dice, wait: battleWordWait}
		if w.how == cutWord {
			w.by = g.now.person(other)
		}
		if c.Name == battle.CommandPass || w.by == "" && w.how == cutWord {
			w.how = cutSealed // who is late cannot hold the battle up any longer
		}
		return w, nil
	}
	return a.usualCut(g.place)
}

// termsOf finds the battle that a command rolls for, and who the other player
// is. False if it belongs to none.
func termsOf(v *view, c proof.Command) (t battle.Terms, other string, ok bool) {
	if !(proof.Battling{}).Owns(c.Name) {
		return t, "", false
	}
	var args struct {
		Battle  uint64       `json:"battle"`
		Players []string     `json:"players"`
		Terms   battle.Terms `json:"terms"`
	}
	if err := json.Unmarshal(c.Args, &args); err != nil {
		return t, "", false
	}
	if s, begun := proof.BattlesOf(v.game).Begun[args.Battle]; begun {
		args.Players, args.Terms = s.Players[:], s.Terms
	}
	for _, p := range args.Players {
		if p != c.Player {
			other = p
		}
	}
	return args.Terms, other, len(args.Players) == 2
}

// seats makes sure that who is to cut has a pseudonym here, before the entry is
// made, and refuses who would cut their own roll.
func (a *ask) seats(w wish, g *gathered, c proof.Command) (string, error) {
	if w.how != cutWord {
		return "", nil
	}
	seat, err := a.seat(g.place, w.by)
	if err == nil && seat == c.Player {
		err = refuse("/roll 12d6 4+, cut by beacon", "cut.refuse.own")
	}
	return seat, err
}

// waitFor is what the command must wait for, nil if its seal's own cut is
// enough. While a seal is not cut, everything waits.
func (a *ask) waitFor(w wish, seat string, v *view, now time.Time) (*storage.Wait, error) {
	chain := v.book.Chain()
	_, _, cut, _ := v.book.InUse()
	switch {
	case w.how == cutWord:
		return &storage.Wait{By: seat, Until: now.Add(w.wait)}, nil
	case w.how == cutBeacon && chain == nil:
		return nil, refuse("/roll 12d6 4+", "cut.refuse.no_beacon")
	case w.how == cutSealed && cut != "":
		return nil, nil
	}
	round := chain.Next(now, a.desk.rounds.latest())
	if !chain.Ahead(round, now) {
		return nil, refuse("", "cut.refuse.clock")
	}
	return &storage.Wait{Round: round}, nil
}

// mayDraw refuses a draw that cannot be made now: while somebody's word is
// awaited, and while the next seal is not cut and the old one is at its last key.
func mayDraw(v *view) error {
	for _, p := range v.book.Pending() {
		if p.Round == 0 && !p.Lost {
			return refuse("", "cut.refuse.awaited", "entry", number(int64(p.Seq)), "who", v.who(p.By), "till", v.desk.when(p.Until, v.person(p.By)))
		}
	}
	if round := v.book.Uncut(); round > 0 && v.book.Left() == 1 && v.book.Follows() {
		return refuse("", "cut.refuse.seal", "round", round)
	}
	return nil
}

// errFrozen is wrapped by the refusal of what has to wait for a cut, so that a
// timer of ours tries again.
type frozen struct{ error }

func (f frozen) Unwrap() error { return f.error }

// thawed refuses commands of a battle that waits for a cut.
func thawed(v *view, c proof.Command) error {
	if !(proof.Battling{}).Owns(c.Name) {
		return nil
	}
	var args struct {
		Battle uint64 `json:"battle"`
	}
	if json.Unmarshal(c.Args, &args) != nil || args.Battle == 0 || !v.book.Frozen(args.Battle) {
		return nil
	}
	for _, p := range v.book.Pending() {
		if w, ok := v.game.Waiting[p.Seq]; ok && battleAsked(w.Args) == args.Battle {
			return frozen{refuse("", "cut.refuse.frozen", "entry", number(int64(p.Seq)), "what", v.awaited(p))}
		}
	}
	return frozen{refuse("", "cut.refuse.waits")}
}

// battleAsked is the battle that some args name, 0 for none.
func battleAsked(args storage.Object) uint64 {
	var a struct {
		Battle uint64 `json:"battle"`
	}
	_ = json.Unmarshal(args, &a) // what is no object names none
	return a.Battle
}

// awaited says in words what an entry waits for.
func (v *view) awaited(p proof.Pending) chat.Line {
	say := v.speaker().Say
	switch {
	case p.Lost:
		return say("cut.awaits.lost")
	case p.Round > 0:
		return say("cut.awaits.round", "round", p.Round, "due", v.desk.when(v.book.Chain().Due(p.Round), ""))
	}
	return say("cut.awaits.word", "who", v.who(p.By), "till", v.desk.when(p.Until, v.person(p.By)))
}

// grade says how the dice of an entry were fixed: the design page's words.
func (v *view) grade(rec storage.Record) chat.Line {
	say := v.speaker().Say
	switch {
	case rec.Again != nil:
		return say("dice.grade.again", "of", number(int64(rec.Again.Of)))
	case rec.Cut == uncut:
		return say("dice.grade.uncut")
	case rec.Wait == nil:
		return say("dice.grade.sealed")
	case rec.Wait.By != "" && wordCut(rec.Cut):
		return say("dice.grade.word", "who", v.who(rec.Wait.By))
	}
	return say("dice.grade.beacon", "round", roundOf(rec.Cut))
}
