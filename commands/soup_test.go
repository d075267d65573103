package commands

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drumhead/commands/chat"
)

// soup is what messages are stirred from: words of orders, dice and commands, and
// what nobody should type.
var soup = strings.Fields(`move run hold shoot split cast charge fight done fall back else if near by with at to on into and the
	Pikes Crossbows Mortar Marram Barge Riders Guns Rope Guard Teasel Bridge Well Ford Veil Undertow Ann Bo Cy
	7 7.4 in , ; : — -5 1e9 NaN 99999999999999999999 0 ½ in cover no sight half range hidden flank stern across water blocked models
	stands fell are is in melee is12d6 12d6 2d6 d66 4+ 3+ reroll 1s misses one miss save 6s count twice total best 2 of 3d6 again open-ended times
	damage d3 last into 10 of 3 for against @everyone <@1> [x](y) ** # ` + "` ``` \u202e \u200b \u0301\u0301\u0301 ٣ ｄ６ 🎲 é \ud7ff \ufeff" + `
	1 2 3 counter any never casualties from back keep Withy Lock Alder beat drew 7 draw more 24 Europe/Paris osier brine column sealed beacon word of`)

// commandsOfSoup are what the words stand behind; "" is talk.
var commandsOfSoup = strings.Split(`/order,/order,/order,/order,/roll,/roll,/odds,/odds,/odds best,/explain,/proof,/unit,/luck,/tell,/due,/help,/cut,/result,/standings,/hide,
/battle open,/battle join,/battle decline,/battle ahead,/battle status,/battle finish,/battle play,/battle agree,/battle dispute,/battle more,/battle pass,/battle report,
/force add,/force change,/force show,/force drop,/campaign start,/campaign join,/campaign map,/campaign gazette,/campaign agree,/campaign object,/campaign round,/campaign late,/campaign unopposed,
/me zone,/me show,/settings dice,/settings restored,/,,nothing`, ",")

// TestSoup says thousands of messages of nonsense in the middle of a campaign and
// a battle: nothing breaks, what is refused makes no entry, and no post is empty.
func TestSoup(t *testing.T) {
	tb := atBattle(t)
	r := rand.New(rand.NewPCG(2026, 11))
	who, where := []string{"Ann", "Bo", "Cy", "Mo"}, []string{"#fen", "#fen", "#fen", "#osier", "@dm", "#new"}
	places := []string{"#fen", "#osier", "@dm", "#new"}
	answered, refused := 0, 0
	for range 4000 {
		var said strings.Builder
		said.WriteString(strings.TrimSpace(commandsOfSoup[r.IntN(len(commandsOfSoup))]))
		for range r.IntN(9) {
			said.WriteString([]string{" ", " ", " ", "\n", ""}[r.IntN(5)] + soup[r.IntN(len(soup))])
		}
		m := tb.message(who[r.IntN(len(who))], where[r.IntN(len(where))], said.String())
		tb.line++
		m.Source = chat.Source("test:soup:" + said.String() + string(rune('a'+tb.line%26)) + string(rune('a'+tb.line/26%26)) + string(rune('a'+tb.line/676%26)))
		if r.IntN(12) == 0 && len(tb.posts) > 0 {
			if p := tb.posts[len(tb.posts)-1-r.IntN(min(5, len(tb.posts)))]; len(p.Choices) > 0 {
				m.Text, m.Tap = "", &chat.Tap{Post: p.ID, Number: 1 + r.IntN(len(p.Choices)+1), Text: said.String()}
			}
		}
		before, sizes := len(tb.posts), sizesOf(tb, places)
		tb.handle(m)
		for _, p := range tb.posts[before:] {
			answered++
			if p.Error == "broken" || len(p.Lines) == 0 {
				t.Fatalf("%q by %s in %s: %+v", m.Text, m.Name, m.Place, p)
			}
			if p.Error != "" {
				refused++
				if !slices.Equal(sizes, sizesOf(tb, places)) {
					t.Errorf("%q was refused and made an entry:\n%s", m.Text, tb.text(before))
				}
			}
		}
		if strings.Contains(tb.text(before), "[[") {
			t.Errorf("%q: a sentence is missing:\n%s", m.Text, tb.text(before))
		}
		tb.posts = tb.posts[max(0, len(tb.posts)-20):]
	}
	if answered < 1500 || refused < 500 || refused == answered {
		t.Errorf("%d answers, %d refusals: the soup is too thin", answered, refused)
	}
}

func sizesOf(tb *table, places []string) []uint64 {
	var out []uint64
	for _, p := range places {
		out = append(out, tb.size(p))
	}
	return out
}
