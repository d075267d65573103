package campaign

import (
	"slices"
	"strings"
)

// Limits of what stands in entries.
const (
	MaxUnits  = 128       // units in one result
	MaxKey    = 60        // characters of a unit's key
	MaxScore  = 9999      // of one side
	MaxDeeds  = 99        // enemy units that one unit broke in one battle
	MaxNumber = 1<<53 - 1 // what every JSON library can hold
	maxFile   = MaxName + len(".toml")
)

// bad refuses a field that is out of its form. People never see it unless a
// program has made a mistake: what they type is judged before.
func bad(field string) error { return refuse("", "form", "field", field) }

// judged is a field of a command or an event, and whether it is sound.
type judged struct {
	name string
	ok   bool
}

// check gives the first field that is not sound.
func check(fields ...judged) error {
	for _, f := range fields {
		if !f.ok {
			return bad(f.name)
		}
	}
	return nil
}

func field(name string, ok bool) judged { return judged{name, ok} }

func (a Start) sound() error { return soundStart(a.File, a.SHA256, a.Until) }

func (e *Started) sound() error { return soundStart(e.File, e.SHA256, e.Until) }

func soundStart(file, sum string, until int64) error {
	return check(field("file", printable(file, maxFile)), field("sha256", isHex(sum, 64)), field("until", isTime(until)))
}

func (a Join) sound() error {
	return check(field("home", a.Home == "" || ValidID(a.Home)))
}

func (e *Joined) sound() error {
	return check(field("home", ValidID(e.Home)), field("player", isPlayer(e.Player)))
}

func (e *Moved) sound() error {
	return check(field("region", ValidID(e.Region)), field("from", e.From == "" || isPlayer(e.From)), field("to", isPlayer(e.To)))
}

// sound checks that two different people played and one of them, or nobody, won.
func (s Score) sound() error {
	return check(
		field("players", len(s.Players) == 2 && isPlayer(s.Players[0]) && isPlayer(s.Players[1]) && s.Players[0] != s.Players[1]),
		field("winner", s.Winner == "" || slices.Contains(s.Players, s.Winner)),
		field("scores", s.Scores == nil || len(s.Scores) == 2 && within(s.Scores[0], MaxScore) && within(s.Scores[1], MaxScore)),
		field("region", s.Region == "" || ValidID(s.Region)))
}

// agrees tells whether winner and scores say the same: the higher score wins.
func (s Score) agrees() bool {
	if len(s.Scores) != 2 {
		return true
	}
	switch a, b := s.Scores[0], s.Scores[1]; {
	case a > b:
		return s.Winner == s.Players[0]
	case b > a:
		return s.Winner == s.Players[1]
	}
	return s.Winner == ""
}

func (a Report) sound() error {
	if err := a.Score.sound(); err != nil {
		return err
	}
	if !isTime(a.Until) {
		return bad("until")
	}
	if !a.agrees() {
		return refuse("/result Ann beat Bo 7 to 5", "scores", "first", a.Scores[0], "second", a.Scores[1])
	}
	return nil
}

func (e *Claimed) sound() error {
	if err := e.Score.sound(); err != nil {
		return err
	}
	return check(field("by", slices.Contains(e.Players, e.By)), field("claim", e.Claim > 0), field("until", isTime(e.Until)),
		field("against", e.Against >= 0), field("instead", e.Instead >= 0))
}

func (a Agree) sound() error  { return check(field("claim", a.Claim > 0)) }
func (a Object) sound() error { return check(field("claim", a.Claim > 0)) }

func (e *Objected) sound() error {
	return check(field("claim", e.Claim > 0), field("by", isPlayer(e.By)))
}

func (a Result) sound() error {
	claim, score := a.Claim > 0, a.Score != nil
	fits := false
	switch a.How {
	case HowBattle:
		fits = score && !claim && a.Battle != nil
	case HowUnopposed:
		fits = claim && !score && a.Battle == nil
	case HowRuled:
		fits = claim != score && a.Battle == nil
	}
	if err := check(field("how", fits), field("battle", a.Battle == nil || a.Battle.sound()),
		field("units", len(a.Units) <= MaxUnits && (len(a.Units) == 0 || a.How == HowBattle))); err != nil || !score {
		return err
	}
	if err := a.Score.sound(); err != nil {
		return err
	}
	for i, d := range a.Units {
		twice := slices.ContainsFunc(a.Units[:i], func(o Deeds) bool { return o.Player == d.Player && o.Unit == d.Unit })
		if twice || !slices.Contains(a.Score.Players, d.Player) || !printable(d.Unit, MaxKey) || !within(d.Broke, MaxDeeds) {
			return bad("units")
		}
	}
	return nil
}

func (b Battle) sound() bool {
	return len(b.Ledger) == 26 && strings.Trim(b.Ledger, "abcdefghijklmnopqrstuvwxyz234567") == "" &&
		isHex(b.Leaf, 64) && b.Seq >= 0 && b.Seq <= MaxNumber
}

func (e *Resulted) sound() error {
	if err := e.Score.sound(); err != nil {
		return err
	}
	return check(field("battle", e.Battle == nil || e.Battle.sound()), field("claim", e.Claim >= 0),
		field("how", slices.Contains([]string{HowBattle, HowAgreed, HowUnopposed, HowRuled}, e.How)),
		field("outcome", slices.Contains([]string{Took, Kept, Drew, Far, Other, Awaits, Free}, e.Outcome)))
}

func (e *Learned) sound() error {
	return check(field("player", isPlayer(e.Player)), field("unit", printable(e.Unit, MaxKey)),
		field("before", within(e.Before, MaxCareer)), field("after", within(e.After, MaxCareer)),
		field("deeds", within(e.Deeds, MaxDeeds)))
}

func (e *Graded) sound() error {
	return check(field("player", isPlayer(e.Player)), field("unit", printable(e.Unit, MaxKey)),
		field("from", ValidID(e.From)), field("to", ValidID(e.To)),
		field("experience", within(e.Experience, MaxCareer)), field("enough", within(e.Enough, MaxCareer)))
}

func (a Close) sound() error {
	return check(field("round", a.Round > 0), field("until", isTime(a.Until)))
}

func (e *Closed) sound() error {
	return check(field("round", e.Round > 0), field("until", isTime(e.Until)))
}

func within(n, most int) bool { return n >= 0 && n <= most }

func isTime(ms int64) bool { return ms >= 0 && ms <= MaxNumber }

// isPlayer tells whether s is a pseudonym: p1, p2, …
func isPlayer(s string) bool {
	return len(s) >= 2 && len(s) <= 10 && s[0] == 'p' && s[1] != '0' && strings.Trim(s[1:], "0123456789") == ""
}

func isHex(s string, n int) bool { return len(s) == n && strings.Trim(s, "0123456789abcdef") == "" }

// printable tells whether s is 1 to most characters of what entries may hold.
func printable(s string, most int) bool {
	return s != "" && len(s) <= most && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' })
}
