package commands

import (
	"strings"
	"testing"

	"drumhead/commands/chat"
)

// in says something in another community than the usual one.
func (tb *table) in(community chat.Community, m chat.Message) string {
	tb.t.Helper()
	tb.line++
	m.Community = community
	return tb.handle(m)
}

// A person who was chosen, not typed, is known from then on, also if two have the
// same name and neither ever spoke.
func TestChosenPersonIsKnown(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "@dm/ann", "/force add Weir Militia, 500 points; 10 Pikes; 10 Crossbows; Mortar; Marram; Barge")
	m := tb.message("Ann", "#fen", "/battle open @test:17 500")
	if got := tb.handle(m); strings.Contains(got, "offers") {
		t.Fatalf("offered to somebody unknown: %s", got)
	}
	m.Named = map[chat.Person]string{"test:17": "Bo", "test:18": "Bo"}
	m.Source = "test:1:99"
	tb.handle(m)
	last := tb.posts[len(tb.posts)-1]
	if len(last.Notify) != 1 || last.Notify[0] != "test:17" {
		t.Errorf("notified %v by %+v", last.Notify, last.Lines)
	}
}

// What is a person's own is theirs in every community, also for a desk that starts
// again: where they live, what they play, their forces.
func TestPersonsBelongToThemselves(t *testing.T) {
	tb := newTable(t)
	dm := func(text string) chat.Message { return tb.message("Ann", "@dm/ann", text) }
	tb.in("test:@ann", dm("/me zone Europe/Paris"))
	tb.in("test:@ann", dm("/force add Weir Militia, 500 points; 10 Pikes; 10 Crossbows; Mortar; Marram; Barge"))
	offer := tb.message("Ann", "#fen", "/battle open Bo 500")
	offer.Named = map[chat.Person]string{"test:bo": "Bo"}
	tb.in("test:club", offer)
	tb.in("test:other", tb.message("Ann", "#else", "/help"))
	tb.in("test:other", tb.message("Bo", "#else", "/help"))
	for range 2 {
		for _, community := range []chat.Community{"test:other", "test:club"} {
			tb.in(community, tb.message("Ann", "#x", "/help"))
		}
		if ann, bo := tb.desk.somebody("test:ann"), tb.desk.somebody("test:bo"); ann.Zone != "Europe/Paris" || len(bo.Games) != 1 {
			t.Errorf("kept as %+v and %+v", ann, bo)
		}
		if got := tb.in("test:club", tb.message("Ann", "#fen", "/force show")); !strings.Contains(got, "Weir Militia") {
			t.Errorf("forces: %s", got)
		}
		tb.desk = newTableOn(t, tb.store).desk
	}
}

// The first post for all where a message was given answers it; what binds, what
// replaces another and what goes elsewhere does not.
func TestOnePostAnswers(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#fen", "/roll 12d6 4+")
	if n := len(tb.posts); n != 2 || tb.posts[0].Answers != "" || tb.posts[1].Answers != "test:1:1" {
		t.Errorf("%d posts, answering %q and %q", n, tb.posts[0].Answers, tb.posts[n-1].Answers)
	}
	tb.pick("Bo", "#fen", "2+")
	if last := tb.posts[len(tb.posts)-1]; !strings.HasPrefix(string(last.Answers), "test:1:") {
		t.Errorf("the answer to a tap answers %q", last.Answers)
	}
}

// A zone that a platform's profile names is offered, and taken only by a word.
func TestZoneIsSuggested(t *testing.T) {
	tb := newTable(t)
	ask := func(text, zone string) string {
		m := tb.message("Ann", "@dm", text)
		m.Zone = zone
		return tb.handle(m)
	}
	wants(t, ask("/me zone", "Europe/Paris"), "Your profile says Europe/Paris.", "[Yes]")
	wants(t, ask("/me zone", ""), "I do not know where you live")
	wants(t, ask("/me zone", "Nowhere/Silt"), "I do not know where you live")
	wants(t, tb.pick("Ann", "@dm", "Yes"), "Your times are those of Europe/Paris")
	wants(t, ask("/me zone", "Asia/Tokyo"), "Your times are those of Europe/Paris")
}
