package commands

import (
	"encoding/json"
	"errors"
	"regexp"
	"strings"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfSettings keeps what is usual in a place, by the place.
const shelfSettings = "settings"

// settings are what an organiser chose for a place. They make no entry: what
// they decide stands in each entry that it decided.
type settings struct {
	Dice     *usualDice `json:"dice,omitempty"`     // nil: nothing was chosen
	Pictures string     `json:"pictures,omitempty"` // of dice; see picturesOnWish
}

// usualDice is how dice are cut here unless something else is agreed or asked.
type usualDice struct {
	How string        `json:"how"`
	By  []chat.Person `json:"by,omitempty"` // whose words; of two each cuts for the other
	// Minutes is how long a word is waited for; 0 for as long as is usual.
	Minutes int `json:"minutes,omitempty"`
}

func settingsCommands() []command {
	return []command{{Spec: args.Spec{Name: "settings dice", Help: "how dice are cut here, and whether they are drawn", Example: "/settings dice beacon",
		Params: []args.Param{{Name: "how", Kind: args.Words, Optional: true, Help: "sealed, beacon, word of Bo, word of Ann and Bo; pictures never, on wish, always"}}}, plan: planDiceSetting}, rolesCommand(), restoredCommand()}
}

// settings is what was chosen for a place. One message reads it once.
func (a *ask) settings(p chat.Place) (settings, error) {
	if p == "" {
		p = a.msg.Place
	}
	if s, read := a.chosen[p]; read {
		return s, nil
	}
	s, err := a.readSettings(p)
	if err == nil {
		a.chosen[p] = s
	}
	return s, err
}

func (a *ask) readSettings(p chat.Place) (settings, error) {
	var s settings
	b, err := a.desk.store.Shelf(shelfSettings).Get(a.ctx, string(p))
	if errors.Is(err, storage.ErrNone) {
		return s, nil
	}
	if err != nil {
		return s, err
	}
	return s, json.Unmarshal(b, &s)
}

// usualCut is how a roll is cut here if nobody asked for anything else.
func (a *ask) usualCut(p chat.Place) (wish, error) {
	s, err := a.settings(p)
	if err != nil || s.Dice == nil {
		return wish{}, err
	}
	w := wish{how: s.Dice.How, wait: wordWait}
	if s.Dice.Minutes > 0 {
		w.wait = time.Duration(s.Dice.Minutes) * time.Minute
	}
	if w.how != cutWord {
		return w, nil
	}
	for _, by := range s.Dice.By {
		if by != a.msg.Person {
			w.by = by
		}
	}
	if w.by == "" {
		w.how = cutSealed // who cuts for the others rolls sealed: nobody cuts their own
	}
	return w, nil
}

// diceOf settles the dice of a battle to be: as was said, else as is usual here,
// else the beacon where there is one.
func (a *ask) diceOf(said string) (string, error) {
	beacon := a.desk.chain != nil
	if a.here.open() {
		beacon = a.here.book.Chain() != nil
	}
	switch said {
	case cutWord:
		return cutWord, nil
	case "sealed":
		return cutSealed, nil
	case cutBeacon:
		if !beacon {
			return "", refuse("/battle open Bo 500 Drowned Bridge, dice sealed", "cut.refuse.no_beacon")
		}
		return cutBeacon, nil
	}
	s, err := a.settings("")
	switch {
	case err != nil:
		return "", err
	case s.Dice != nil && (s.Dice.How != cutBeacon || beacon):
		return s.Dice.How, nil
	case beacon:
		return cutBeacon, nil
	}
	return cutSealed, nil
}

// diceName names a way to cut dice in the ids of the catalogue.
func diceName(how string) string {
	if how == cutSealed {
		return "sealed"
	}
	return how
}

var spokenWord = regexp.MustCompile(`(?i)^(?:cut\s+by\s+)?(?:the\s+)?word\s+of\s+(.+)$`)

// planDiceSetting says how dice are cut here, or lets an organiser choose.
func planDiceSetting(a *ask) (*answer, error) {
	said := strings.TrimSpace(args.Fold(a.value("how")))
	if said == "" {
		return a.diceHere()
	}
	if !a.msg.Organiser {
		return nil, refuse("/settings dice", "cut.refuse.organiser")
	}
	if m := spokenPictures.FindStringSubmatch(said); m != nil {
		return a.choosePictures(strings.ToLower(m[1]))
	}
	chosen := usualDice{}
	switch word := strings.ToLower(strings.TrimPrefix(strings.ToLower(said), "cut by ")); {
	case word == "sealed":
	case word == "beacon" || word == "the beacon":
		chosen.How = cutBeacon
		if chain := a.here.book.Chain(); a.here.open() && chain == nil || !a.here.open() && a.desk.chain == nil {
			return nil, refuse("/settings dice sealed", "cut.refuse.no_beacon")
		}
	default:
		m := spokenWord.FindStringSubmatch(said)
		if m == nil {
			return nil, refuse("/settings dice beacon", "cut.refuse.setting", "said", clip(said))
		}
		chosen.How = cutWord
		names, wait, err := within(m[1], "/settings dice word of Bo within 2 hours")
		if err != nil {
			return nil, err
		}
		if wait != wordWait {
			chosen.Minutes = int(wait / time.Minute)
		}
		if chosen.By, err = a.cutters(names); err != nil {
			return nil, err
		}
	}
	return a.choose(func(s *settings) { s.Dice = &chosen })
}

// choose changes what was chosen for this place, and says what holds now.
func (a *ask) choose(change func(s *settings)) (*answer, error) {
	s, err := a.settings("")
	if err != nil {
		return nil, err
	}
	change(&s)
	b, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	if err := a.desk.store.Shelf(shelfSettings).Put(a.ctx, storage.KeyValue{Key: string(a.msg.Place), Value: b}); err != nil {
		return nil, err
	}
	a.chosen[a.msg.Place] = s
	return a.diceHere()
}

// spokenPictures is how an organiser says when rolls are drawn here.
var spokenPictures = regexp.MustCompile(`(?i)^pictures?\b\s*(.*)$`)

func (a *ask) choosePictures(when string) (*answer, error) {
	chosen, ok := map[string]string{"never": picturesNever, "on wish": picturesOnWish, "always": picturesAlways}[strings.TrimSpace(when)]
	if !ok {
		return nil, refuse("/settings dice pictures always", "cut.refuse.pictures", "said", clip(when))
	}
	return a.choose(func(s *settings) { s.Pictures = chosen })
}

// clip keeps what is quoted short.
func clip(s string) chat.Span {
	if r := []rune(s); len(r) > MaxName {
		s = string(r[:MaxName])
	}
	return chat.Span{Kind: chat.Said, Text: s}
}

// cutters finds the one or two whose words cut dice.
func (a *ask) cutters(names string) ([]chat.Person, error) {
	var out []chat.Person
	for _, name := range regexp.MustCompile(`(?i)\s+and\s+|\s*,\s*`).Split(names, -1) {
		who, err := a.find(name, "/settings dice word of Bo")
		if err != nil {
			return nil, err
		}
		if !has(out, who) {
			out = append(out, who)
		}
	}
	if len(out) > 2 {
		return nil, refuse("/settings dice word of Ann and Bo", "cut.refuse.cutters")
	}
	return out, nil
}

// diceHere says how dice are cut here, and what that is worth.
func (a *ask) diceHere() (*answer, error) {
	s, err := a.settings("")
	if err != nil {
		return nil, err
	}
	how := cutSealed
	if s.Dice != nil {
		how = s.Dice.How
	}
	head := a.say("cut.here." + diceName(how))
	if how == cutWord {
		head = a.say("cut.here.word", "names", a.names(s.Dice.By))
		if len(s.Dice.By) == 2 {
			head = a.say("cut.here.words", "names", a.names(s.Dice.By))
		}
	}
	lines := []chat.Line{head, a.say("cut.fair." + diceName(how))}
	if s.Dice != nil && s.Dice.Minutes > 0 {
		lines = append(lines, a.say("cut.here.within", "minutes", s.Dice.Minutes))
	}
	if a.here.open() && a.here.book.Chain() == nil || !a.here.open() && a.desk.chain == nil {
		lines = append(lines, a.say("cut.here.no_beacon"))
	}
	pictures := s.Pictures
	if pictures == picturesOnWish {
		pictures = "wish"
	}
	return only(a.post(append(lines, a.say("cut.here.battles"), a.say("cut.pictures."+pictures))...))
}
