package commands

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/reason"
)

// atCampaign is a table with a campaign that Ann, Bo and Gus have joined.
func atCampaign(t testing.TB) *table {
	t.Helper()
	tb := newTable(t)
	tb.say("Cy", "#osier", "/campaign start osier")
	tb.say("Ann", "#osier", "/campaign join Withy Lock")
	tb.say("Bo", "#osier", "/campaign join Lock Hill")
	tb.say("Gus", "#osier", "/campaign join Fen End")
	return tb
}

// campaignOf folds the campaign of a place from the store, not from memory.
func (tb *table) campaignOf(place string) proof.Campaign {
	tb.t.Helper()
	tb.desk.live.drop(chat.Place("test:" + place))
	v, err := tb.desk.view(tb.t.Context(), chat.Place("test:"+place))
	if err != nil {
		tb.t.Fatal(err)
	}
	c, ok := proof.CampaignOf(v.game)
	if !ok {
		tb.t.Fatal("no campaign is played in " + place)
	}
	return c
}

// A report named by a number is that report and no other: there is no report 0.
func TestNoReportByChance(t *testing.T) {
	for _, answer := range []string{"/campaign agree 0", "/campaign object 0", "/result right 0", "/result not so #0", "/campaign agree 2"} {
		tb := atCampaign(t)
		tb.say("Ann", "#osier", "/result Ann beat Bo 7 to 5 at Alder Ford")
		before := tb.size("#osier")
		if got := tb.say("Bo", "#osier", answer); tb.size("#osier") != before {
			t.Errorf("%s answered report 1:\n%s", answer, got)
		}
	}
}

// What people say about a result, and what is understood.
func TestSpeak(t *testing.T) {
	for text, want := range map[string]spoken{
		"Ann beat Bo 7 to 5 at Alder Ford":         {subject: "Ann", other: "Bo", verb: verbBeat, scores: []int{7, 5}, region: "Alder Ford"},
		"Ann beat Bo":                              {subject: "Ann", other: "Bo", verb: verbBeat},
		"Ann beat Bo 7–5":                          {subject: "Ann", other: "Bo", verb: verbBeat, scores: []int{7, 5}},
		"ann  BEAT  old bo reed 7:5 for Reed Isle": {subject: "ann", other: "old bo reed", verb: verbBeat, scores: []int{7, 5}, region: "Reed Isle"},
		"I beat Bo 12 to 0.":                       {other: "Bo", verb: verbBeat, scores: []int{12, 0}},
		"won 8 to 6 against Bo":                    {other: "Bo", verb: verbBeat, scores: []int{8, 6}},
		"won against Bo 8 to 6":                    {other: "Bo", verb: verbBeat, scores: []int{8, 6}},
		"lost 5 to 7 to Bo at Alder Ford":          {other: "Bo", verb: verbLost, scores: []int{5, 7}, region: "Alder Ford"},
		"lost to Bo 7 to 5":                        {other: "Bo", verb: verbLost, scores: []int{5, 7}},
		"I lost to Bo":                             {other: "Bo", verb: verbLost},
		"drew 7 to 7 with Gus at Sedge Hythe":      {other: "Gus", verb: verbDrew, scores: []int{7, 7}, region: "Sedge Hythe"},
		"Fay drew Bo":                              {subject: "Fay", other: "Bo", verb: verbDrew},
		"drew 7 to 7":                              {verb: verbDrew, scores: []int{7, 7}},
		"Beat Winters beat Bo":                     {subject: "", other: "Winters beat Bo", verb: verbBeat},
	} {
		got, ok := speak(text)
		if !ok || !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
	for _, text := range []string{"", "the rain", "7 to 5", "Ann and Bo played"} {
		if got, ok := speak(text); ok {
			t.Errorf("%q was read as %+v", text, got)
		}
	}
}

func FuzzSpeak(f *testing.F) {
	for _, seed := range []string{"Ann beat Bo 7 to 5 at Alder Ford", "drew 7 to 7", "I lost to Bo 5-7!", "won 8 to 6 against Bo", "at at at", " beat "} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, ok := speak(text)
		if ok && len(s.scores) == 2 && s.verb == verbLost && s.scores[0] > s.scores[1] {
			t.Fatalf("%q: the loser has the higher score: %+v", text, s)
		}
		if ok && s.scores != nil && (len(s.scores) != 2 || s.scores[0] < 0 || s.scores[0] > campaign.MaxScore || s.scores[1] < 0 || s.scores[1] > campaign.MaxScore) {
			t.Fatalf("%q: scores %v", text, s.scores)
		}
	})
}

// Mistakes in a campaign make no entry and name an example.
func TestCampaignMistakes(t *testing.T) {
	tb := atCampaign(t)
	before := tb.size("#osier")
	for _, c := range []struct{ who, text, says string }{
		{"Cy", "/campaign start osier", "already"},
		{"Ann", "/campaign join Fen End", "joined already"},
		{"Dee", "/campaign join Alder Ford", "no home"},
		{"Dee", "/campaign join Withy Lock", "taken"},
		{"Dee", "/campaign join Atlantis", "No region"},
		{"Ann", "/campaign map Long", ""},
		{"Ann", "/campaign map Atlantis", "No region"},
		{"Ann", "/campaign map s", "several"},
		{"Ann", "/campaign gazette 9", "no round 9"},
		{"Ann", "/campaign round 1", "organiser"},
		{"Cy", "/campaign round 7", "not the one"},
		{"Ann", "/result the rain won", "nobody here"},
		{"Ann", "/result we had a lovely game", "cannot read"},
		{"Ann", "/result Ann beat Zed", "nobody here"},
		{"Ann", "/result Ann beat Cy", "not joined"},
		{"Ann", "/result Ann beat Ann", "themselves"},
		{"Ann", "/result Ann beat Bo 5 to 7", "does not fit"},
		{"Ann", "/result drew 7 to 7", "Against whom"},
		{"Ann", "/result Ann beat Bo at Teasel Bridge", "Neither"},
		{"Ann", "/result Ann beat Bo at Fen End", "not one of you"},
		{"Ann", "/result Ann beat Bo at Kiln Bank", "waits"},
		{"Gus", "/result Ann beat Bo at Alder Ford", "two who played"},
		{"Ann", "/campaign agree", "No report waits for your answer"},
		{"Ann", "/campaign agree 4", "No such report"},
	} {
		got := tb.say(c.who, "#osier", c.text)
		if !strings.Contains(got, c.says) {
			t.Errorf("%s says %s:\n%swant %q", c.who, c.text, got, c.says)
		}
		if strings.Contains(got, "[[") {
			t.Errorf("%s: a sentence is missing:\n%s", c.text, got)
		}
		if n := tb.size("#osier"); n != before {
			t.Fatalf("%s made %d entries", c.text, n-before)
		}
	}
}

// A report counts after 48 hours, by its timer and once; one that the other
// side objects to never does.
func TestReportsAndTime(t *testing.T) {
	tb := atCampaign(t)
	tb.say("Ann", "#osier", "/result Ann beat Bo 7 to 5 at Alder Ford")
	tb.say("Gus", "#osier", "/result Gus beat Ann 3 to 1 at Sedge Hythe")
	tb.pick("Ann", "#osier", "Not so")
	if h := tb.campaignOf("#osier").Holder("alder ford"); h != "" {
		t.Fatalf("a report alone moved a region to %s", h)
	}
	tb.now = tb.now.Add(ClaimStands - time.Second)
	tb.tick()
	if n := len(tb.campaignOf("#osier").Claims); n != 2 {
		t.Fatalf("%d reports wait a second before time, want 2", n)
	}
	tb.now = tb.now.Add(time.Second)
	for range 3 {
		tb.tick()
	}
	c := tb.campaignOf("#osier")
	if len(c.Now.Results) != 1 || c.Now.Results[0].How != campaign.HowUnopposed {
		t.Errorf("results %+v", c.Now.Results)
	}
	if len(c.Claims) != 1 || !c.Claims[0].Disputed {
		t.Errorf("open reports %+v", c.Claims)
	}
}

// tick does what has fallen due.
func (tb *table) tick() {
	tb.t.Helper()
	if _, err := tb.desk.Tick(tb.t.Context()); err != nil {
		tb.t.Fatal(err)
	}
}

// Rounds close by themselves, and a campaign that sleeps is left to sleep.
func TestRoundsCloseByTime(t *testing.T) {
	tb := atCampaign(t)
	for range 10 {
		tb.now = tb.now.Add(7*24*time.Hour + time.Hour)
		tb.tick()
	}
	c := tb.campaignOf("#osier")
	if c.Round != 1+QuietRounds || c.Until != 0 {
		t.Errorf("round %d until %d, want round %d and no time", c.Round, c.Until, 1+QuietRounds)
	}
	if got := tb.say("Cy", "#osier", "/campaign round"); !strings.Contains(got, "[Close round 4]") {
		t.Fatalf("no second question:\n%s", got)
	}
	got := tb.pick("Cy", "#osier", "Close round 4")
	if c := tb.campaignOf("#osier"); c.Round != 5 || !strings.Contains(got, "Gazette, round 4") {
		t.Errorf("round %d:\n%s", c.Round, got)
	}
	if again := tb.pick("Cy", "#osier", "Close round 4"); tb.campaignOf("#osier").Round != 5 {
		t.Errorf("one tap closed two rounds:\n%s", again)
	}
}

// The clock of the round is that of who started it: the same hour after clocks
// went back. The desk's tables begin on Sat 24 Oct 2026, the day before they do
// in Paris.
func TestRoundsKeepTheHour(t *testing.T) {
	tb := newTable(t)
	tb.say("Cy", "#osier", "/me zone Europe/Paris")
	tb.now = tb.now.Add(20 * time.Minute) // 20:20 in Paris
	tb.say("Cy", "#osier", "/campaign start osier")
	paris, err := time.LoadLocation("Europe/Paris")
	if err != nil {
		t.Fatal(err)
	}
	if got := time.UnixMilli(tb.campaignOf("#osier").Until).In(paris).Format("Mon 2 Jan 15:04"); got != "Sat 31 Oct 21:00" {
		t.Errorf("round 1 closes %s, want the next full hour, a week later by Paris clocks", got)
	}
}

// A campaign file of one's own is pinned by its hash and lies on the shelf.
func TestOwnFile(t *testing.T) {
	b, err := os.ReadFile(filepath.FromSlash("../testdata/campaigns/twobanks.toml"))
	if err != nil {
		t.Fatal(err)
	}
	tb := newTable(t)
	start := func(file string) string {
		tb.line++
		m := tb.message("Cy", "#banks", "/campaign start")
		m.Files = []chat.File{{Name: "twobanks.toml", Bytes: []byte(file)}}
		return tb.handle(m)
	}
	for _, c := range []struct{ from, to, says string }{
		{"x = 700", "x = 1001", "Line 10, column 42"},
		{`by = "pass"`, `by = "air"`, "no kind of link"},
		{"title = ", "title ", "Line 4"},
	} {
		if got := start(strings.Replace(string(b), c.from, c.to, 1)); !strings.Contains(got, c.says) {
			t.Errorf("%s:\n%swant %q", c.to, got, c.says)
		}
	}
	if tb.size("#banks") != 0 {
		t.Error("a faulty file opened a ledger")
	}
	if got := start(string(b)); !strings.Contains(got, "Two Banks begins: 5 regions") {
		t.Errorf("\n%s", got)
	}
	c := tb.campaignOf("#banks")
	if kept, ok := tb.desk.file(c.File.SHA256); !ok || string(kept) != string(b) {
		t.Error("the file is not kept as it was")
	}
}

// Everything that the campaign refuses has a sentence, and every slot is filled.
func TestCampaignRefusalsInWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.FromSlash("../campaign/*.go"))
	if err != nil || len(files) < 8 {
		t.Fatalf("%d files of the campaign: %v", len(files), err)
	}
	found := 0
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		for prefix, how := range map[string]*regexp.Regexp{
			"campaign.refuse.": regexp.MustCompile(`\brefuse\([^,\n]+, "([a-z.]+)"`),
			"campaign.file.":   regexp.MustCompile(`(?m)\.fault\([^\n]*?, "([a-z]+)"(?:,|\)$)`),
			"":                 regexp.MustCompile(`"(campaign\.file\.[a-z]+)"`),
		} {
			for _, m := range how.FindAllStringSubmatch(string(b), -1) {
				found++
				if !catalog.Has(prefix + m[1]) {
					t.Errorf("%s: nobody says %s%s", name, prefix, m[1])
				}
			}
		}
	}
	if found < 50 {
		t.Errorf("only %d refusals were found in the source", found)
	}
	speaker := words.Speaker{Catalog: catalog}
	file, _ := campaign.Builtin("osier")
	lines := strings.Split(string(file), "\n")
	kinds := map[string]bool{}
	for i, line := range lines {
		for _, bad := range []string{"", strings.Replace(line, " = ", " ", 1), strings.Replace(line, `id = "`, `id = "A`, 1),
			strings.Replace(line, `title = "`, `title = "*`, 1), strings.Replace(line, "x = ", "x = 9", 1),
			strings.Replace(line, "x = ", "z = ", 1), strings.Replace(line, "from = ", "from = -", 1), line + "\n" + line,
			strings.Replace(line, `by = "r`, `by = "b`, 1), strings.Replace(line, `between = ["`, `between = ["x`, 1)} {
			_, err := campaign.Parse([]byte(strings.Join(append(append(append([]string{}, lines[:i]...), bad), lines[i+1:]...), "\n")))
			var r *reason.Refusal
			if errors.As(err, &r) {
				kinds[r.Reason.ID] = true
				checkWords(t, speaker, r.Reason)
			}
		}
	}
	if len(kinds) < 8 {
		t.Errorf("only %d kinds of fault were met: %v", len(kinds), kinds)
	}
}

// A battle in another place counts in the campaign with the entry that ended it,
// and settles what was reported of it by hand; the gazette has its players' words.
func TestBattleCounts(t *testing.T) {
	tb := atBattle(t) // Ann and Bo have joined; their battle in #fen is for nothing
	mover, other := tb.mover()
	tb.say(mover, "#fen", "/battle concede surely")
	if n := len(tb.campaignOf("#osier").Now.Results); n != 0 {
		t.Fatalf("%d battles count that were not for a region", n)
	}
	tb.say(mover, "#fen", "/battle open "+other+" 500 Last Ferry for Alder Ford")
	if got := tb.pick(other, "#fen", "Accept"); !strings.Contains(got, "roll-off") {
		t.Fatalf("the battle did not begin:\n%s", got)
	}
	tb.say(mover, "#osier", "/result "+mover+" beat "+other+" at Alder Ford")
	tb.say(mover, "#fen", "/tell We wanted that ford.")
	got := tb.say(other, "#fen", "/battle concede surely")
	if !strings.Contains(got, mover+" beat "+other) || !strings.Contains(got, "Alder Ford falls to "+mover) {
		t.Errorf("the campaign does not tell of it:\n%s", got)
	}
	c := tb.campaignOf("#osier")
	if len(c.Now.Results) != 1 || len(c.Claims) != 0 {
		t.Fatalf("results %+v, open reports %+v", c.Now.Results, c.Claims)
	}
	b := c.Now.Results[0].Battle
	fen, err := tb.desk.view(t.Context(), "test:#fen")
	if err != nil {
		t.Fatal(err)
	}
	if b == nil || b.Ledger != fen.ledger.String() || b.Leaf != fen.head.Last.String() || uint64(b.Seq) != fen.head.Size-1 {
		t.Errorf("the result names %+v, the battle ended with entry %d of %s, %s", b, fen.head.Size-1, fen.ledger, fen.head.Last)
	}
	if len(c.Units) == 0 {
		t.Error("no unit has a career")
	}
	if got := tb.say("Cy", "#osier", "/campaign gazette"); !strings.Contains(got, mover+`: "We wanted that ford."`) || !strings.Contains(got, "Alder Ford changes hands") {
		t.Errorf("gazette:\n%s", got)
	}
}

// A person without a campaign here is shown the one that they play in, with its
// people's names; two of them must be told apart.
func TestCampaignFromElsewhere(t *testing.T) {
	tb := atCampaign(t)
	if got := tb.say("Ann", "#fen", "/campaign map alder"); !strings.Contains(got, "May march in: Ann, Bo.") {
		t.Errorf("\n%s", got)
	}
	if got := tb.say("Ann", "#fen", "/result Ann beat Bo at Fen End"); !strings.Contains(got, "held by Gus") {
		t.Errorf("\n%s", got)
	}
	if got := tb.say("Ann", "#fen", "/result Ann beat Bo 7 to 5"); !strings.Contains(got, "> test:#osier\nAnn says: Ann beat Bo 7 to 5 (report 1).") {
		t.Errorf("\n%s", got)
	}
	if tb.size("#fen") != 0 {
		t.Error("an entry was made in a place where no campaign is played")
	}
	tb.say("Cy", "#south", "/campaign start osier")
	tb.say("Ann", "#south", "/campaign join")
	if got := tb.say("Ann", "#fen", "/campaign map"); !strings.Contains(got, "2 campaigns") {
		t.Errorf("\n%s", got)
	}
	if got := tb.say("Dee", "#fen", "/campaign map"); !strings.Contains(got, "No campaign is played here") {
		t.Errorf("\n%s", got)
	}
}

// The page for organisers shows a file that can be played and commands that work.
func TestPageForOrganisers(t *testing.T) {
	b, err := os.ReadFile(filepath.FromSlash("../docs/campaign.md"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	_, rest, _ := strings.Cut(page, "```toml\n")
	file, _, ok := strings.Cut(rest, "```")
	if !ok {
		t.Fatal("the page shows no file")
	}
	f, err := campaign.Parse([]byte(file))
	if err != nil {
		t.Fatalf("%+v", err)
	}
	if f.RoundDays != 14 || len(f.Regions) != 4 || f.Experience != (campaign.Experience{Fought: 2, Broke: 3, Won: 1, Fell: -1}) {
		t.Errorf("%+v", f)
	}
	tb := newTable(t)
	said := regexp.MustCompile(`(?m)^    ([a-z]+) (#osier): (/.+)$`).FindAllStringSubmatch(page, -1)
	if len(said) < 5 {
		t.Fatalf("only %d commands on the page", len(said))
	}
	for _, m := range said {
		got := tb.say(strings.ToUpper(m[1][:1])+m[1][1:], m[2], m[3])
		if p := tb.posts[len(tb.posts)-1]; p.Error != "" || got == "" {
			t.Errorf("%s\n%s", m[0], got)
		}
	}
	if c := tb.campaignOf("#osier"); c.Round != 2 || c.Holder("alder ford") == "" {
		t.Errorf("round %d, Alder Ford is held by %q", c.Round, c.Holder("alder ford"))
	}
}
