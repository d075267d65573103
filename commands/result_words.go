package commands

import (
	"regexp"
	"strconv"
	"strings"

	"drumhead/commands/args"
)

// spoken is a result as somebody said it: names as typed, "" where they were
// left out.
type spoken struct {
	subject string // "" for who speaks
	other   string // "" for whoever has an open claim with them
	verb    verb
	scores  []int // of subject and other; nil if none were said
	region  string
}

type verb int

const (
	verbBeat verb = iota
	verbLost
	verbDrew
)

// verbs are the words that say how it ended, the longer before the shorter.
var verbs = []struct {
	words string
	verb  verb
}{
	{"won against", verbBeat}, {"won over", verbBeat}, {"lost against", verbLost}, {"lost to", verbLost},
	{"drew against", verbDrew}, {"drew with", verbDrew},
	{"defeated", verbBeat}, {"beats", verbBeat}, {"beat", verbBeat}, {"won", verbBeat},
	{"lost", verbLost}, {"draws", verbDrew}, {"drew", verbDrew},
}

var (
	spokenScore = regexp.MustCompile(`(?i)\b(\d{1,4})\s*(?:to|[-:])\s*(\d{1,4})\b`)
	spokenPlace = regexp.MustCompile(`(?i)^(.*\S)\s+(?:at|for|in)\s+(.+)$`)
	spokenTo    = regexp.MustCompile(`(?i)^(?:against|versus|vs|with|to|over)\b\.?\s*`)
)

// speak reads "Ann beat Bo 7 to 5 at Alder Ford" and what people say instead:
// "won 8 to 6 against Bo", "I lost to Bo 5-7", "drew 7 to 7 with Gus at Sedge
// Hythe". False if it says no result.
func speak(text string) (spoken, bool) {
	var s spoken
	text = strings.Join(strings.Fields(args.Fold(text)), " ")
	text = strings.TrimRight(text, ".!")
	if m := spokenPlace.FindStringSubmatch(text); m != nil {
		text, s.region = m[1], m[2]
	}
	if m := spokenScore.FindStringSubmatchIndex(text); m != nil {
		one, _ := strconv.Atoi(text[m[2]:m[3]]) // at most four digits each
		two, _ := strconv.Atoi(text[m[4]:m[5]])
		s.scores = []int{one, two}
		text = strings.Join(strings.Fields(text[:m[0]]+" "+text[m[1]:]), " ")
	}
	padded := " " + text + " "
	for _, v := range verbs {
		at := strings.Index(strings.ToLower(padded), " "+v.words+" ")
		if at < 0 {
			continue
		}
		s.verb = v.verb
		s.subject = strings.TrimSpace(padded[:at])
		s.other = strings.TrimSpace(spokenTo.ReplaceAllString(strings.TrimSpace(padded[at+len(v.words)+2:]), ""))
		if strings.EqualFold(s.subject, "i") || strings.EqualFold(s.subject, "we") {
			s.subject = ""
		}
		return s.sorted(), true
	}
	return s, false
}

// sorted gives the loser of "lost 7 to 5" the lower score: said so, both orders
// mean the same.
func (s spoken) sorted() spoken {
	if s.verb == verbLost && len(s.scores) == 2 && s.scores[0] > s.scores[1] {
		s.scores[0], s.scores[1] = s.scores[1], s.scores[0]
	}
	return s
}
