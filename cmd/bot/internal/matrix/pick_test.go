//go:build goolm

package matrix

import (
	"testing"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat/chattest"
)

// TestAddressed: what begins with the prefix or with the bot's name is for the bot,
// and what only looks like it is not.
func TestAddressed(t *testing.T) {
	const me, fen = "@drumhead:osier.test", "!fen:osier.test"
	known, err := openRooms(newKeep(chattest.NewPocket()), nil, me)
	if err != nil {
		t.Fatal(err)
	}
	if err := known.change(fen, func(one *room) { one.members[me] = member{User: me, Is: event.MembershipJoin, Name: "Old Drum"} }); err != nil {
		t.Fatal(err)
	}
	a := &Adapter{line: &line{cli: &mautrix.Client{UserID: me}, rooms: known}}
	for _, c := range []struct {
		said      string
		mentioned bool
		want      string
		yes       bool
	}{
		{"!roll 3d6", false, "/roll 3d6", true},
		{"Old Drum: /odds 3d6", false, "/odds 3d6", true},
		{"old drum, !odds 3d6", false, "/odds 3d6", true},
		{"drumhead: odds 3d6", false, "odds 3d6", true},
		{"@drumhead:osier.test: odds 3d6", false, "odds 3d6", true},
		{"Old Drum odds 3d6", true, "odds 3d6", true},
		{"who woke Old Drum?", true, "who woke Old Drum?", true},
		{"Old Drum is loud", false, "Old Drum is loud", false},
		{"drumheads: a history", false, "drumheads: a history", false},
		{"!!", false, "!!", false},
		{"what a roll!", false, "what a roll!", false},
	} {
		var m *event.Mentions
		if c.mentioned {
			m = &event.Mentions{UserIDs: []id.UserID{me}}
		}
		if got, yes := a.addressed(fen, c.said, m); got != c.want || yes != c.yes {
			t.Errorf("%q is %q, %v", c.said, got, yes)
		}
	}
}
