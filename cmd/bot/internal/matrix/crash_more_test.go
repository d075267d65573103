//go:build goolm

package matrix

import (
	"bytes"
	"net/http"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
)

// TestCrashEdits: the bot dies while it edits a post in place; it stands edited, once.
func TestCrashEdits(t *testing.T) {
	edits := func(th *theatre) {
		th.gives(th.post("b/1", "turn 1"))
		th.ann.Await("the post", from(th.b.user, th.text("turn 1")))
		edit := th.post("b/2", "turn 2")
		edit.Edit = th.post("b/1", "").ID
		th.gives(edit)
	}
	put := asks(http.MethodPut, "/send/")
	var once []string
	edited := func(th *theatre) {
		changes := func() (n int) {
			for _, e := range th.ann.Events() {
				if c, ok := e.Content.Parsed.(*event.MessageEventContent); ok && c.NewContent != nil && c.NewContent.Body == th.text("turn 2") {
					n++
				}
			}
			return n
		}
		th.awaits("the edit", func() bool { return changes() > 0 })
		if th.ann.Quiet(500 * time.Millisecond); changes() != 1 {
			th.Errorf("edited %d times", changes())
		}
	}
	once = []string{"turn 1"}
	play(t, []point{
		{what: "before an edit leaves", warm: true, at: inOrder(put, put), does: edits, then: edited, sees: once},
		{what: "an edit left, the answer lost", warm: true, at: inOrder(put, put), after: true, does: edits, then: edited, sees: once},
	})
}

// TestCrashFiles: the bot dies while it brings a post with a picture and a file.
func TestCrashFiles(t *testing.T) {
	shows := func(th *theatre) {
		p := th.post("f/1", "look")
		p.Pictures = []chat.Recipe{{Kind: "table", Name: "table.png", Alt: th.text("the table")}}
		p.Files = []chat.Recipe{{Kind: "proof", Name: th.text("proof") + ".jsonl"}}
		th.gives(p)
	}
	filed := func(th *theatre) {
		name := strings.ReplaceAll(th.text("proof"), " ", "-") + ".jsonl"
		th.ann.Await("the file", func(e *event.Event) bool {
			return e.Sender == th.b.user && strings.ReplaceAll(matrixtest.Body(e), " ", "-") == name
		})
	}
	put, upload := asks(http.MethodPut, "/send/"), asks(http.MethodPost, "/upload")
	var points []point
	for _, c := range []struct {
		what string
		at   func() func(step) bool
	}{
		{"the words left", func() func(step) bool { return put }},
		{"a picture was uploaded", func() func(step) bool { return upload }},
		{"a picture left", func() func(step) bool { return inOrder(put, put) }},
		{"a file was uploaded", func() func(step) bool { return inOrder(upload, upload) }},
		{"a file left", func() func(step) bool { return inOrder(put, put, put) }},
	} {
		for before, after := range map[string]bool{"before ": false, "": true} {
			points = append(points, point{what: before + c.what, warm: true, at: c.at(), after: after, does: shows, then: filed, sees: []string{"look", "the table"}})
		}
	}
	play(t, points)
}

// TestCrashLongPosts: a post that is too long for a message goes out as a file and a
// message that says so; the bot dies between.
func TestCrashLongPosts(t *testing.T) {
	long := func(th *theatre) {
		p := th.post("long", "long")
		for range 400 {
			p.Lines = append(p.Lines, chat.Line{{Kind: chat.Plain, Text: strings.Repeat("marsh ", 20)}})
		}
		th.gives(p)
	}
	put := asks(http.MethodPut, "/send/")
	said := func(th *theatre) {
		th.awaits("file and message", func() bool {
			file, words := 0, 0
			for _, e := range th.ann.Events() {
				if e.RoomID == th.fen && matrixtest.Body(e) == asText {
					file++
				}
				if e.RoomID == th.fen && strings.HasPrefix(matrixtest.Body(e), th.text("long")+"\n") {
					words++
				}
			}
			return file == 1 && words == 1
		})
	}
	play(t, []point{
		{what: "the file left, the message not", warm: true, at: put, after: true, does: long, then: said, sees: []string{}},
		{what: "both left", warm: true, at: inOrder(put, put), after: true, does: long, then: said, sees: []string{}},
	})
}

// TestCrashLateKeys: the bot dies while it waits for a key, or has just got one.
func TestCrashLateKeys(t *testing.T) {
	held := func(th *theatre) { th.slow.set(true); rolls(th) }
	comes := func(th *theatre) {
		th.slow.set(false)
		th.ann.Send(th.fen, event.EventReaction, nothing) // so that an answer comes
	}
	late := func(th *theatre, at func(step) bool, after bool) {
		th.slow.set(true)
		rolls(th)
		th.awaits("the message to wait", func() bool { return th.kept("late") == 1 })
		th.world.dies(after, at)
		comes(th)
	}
	asked := asks(http.MethodPut, "/sendToDevice/m.room_key_request")
	asking := func(th *theatre) {
		held(th)
		th.awaits("the message to wait", func() bool { return th.kept("late") == 1 })
		th.b.later(2 * askForKey)
		th.ann.Send(th.fen, event.EventReaction, nothing)
	}
	play(t, []point{
		{what: "before a message without its key is kept", at: keeps("late" + sep), does: held, then: comes},
		{what: "a message without its key is kept", at: keeps("late" + sep), after: true, does: held, then: comes},
		{what: "its key came and was not kept", does: func(th *theatre) { late(th, keeps("in"+sep), false) },
			then: func(th *theatre) { th.ann.Send(th.fen, event.EventReaction, nothing) }},
		{what: "its key is kept, it is not heard", does: func(th *theatre) { late(th, keeps("in"+sep), true) },
			then: func(th *theatre) { th.ann.Send(th.fen, event.EventReaction, nothing) }},
		{what: "it is answered, that it waits not forgotten", does: func(th *theatre) { late(th, drops("late"), false) }},
		{what: "before its key is asked for", at: asked, does: asking, then: comes},
		{what: "its key is asked for", at: asked, after: true, does: asking, then: comes},
	})
}

// TestCrashWaking: somebody found no key of ours; the bot dies before it wrote to them.
func TestCrashWaking(t *testing.T) {
	wrote := asks(http.MethodPut, "/sendToDevice/m.room.encrypted")
	none := func(th *theatre) {
		th.newcomer()
		_, err := th.more[0].Cli.SendToDevice(th.Context(), event.ToDeviceRoomKeyWithheld, &mautrix.ReqSendToDevice{Messages: map[id.UserID]map[id.DeviceID]*event.Content{
			th.b.user: {th.b.cli.DeviceID: {Parsed: &event.RoomKeyWithheldEventContent{Algorithm: id.AlgorithmMegolmV1, Code: event.RoomKeyWithheldNoOlmSession}}},
		}})
		if err != nil {
			th.Fatal(err)
		}
	}
	writes := func(th *theatre) {
		th.awaits("the bot to write", func() bool { return th.kept("news") == 0 && th.passed(wrote) })
		th.more = nil
	}
	play(t, []point{
		{what: "the news is not kept", warm: true, at: keeps("news" + sep), does: none, then: writes, sees: []string{}},
		{what: "the news is kept", warm: true, at: keeps("news" + sep), after: true, does: none, then: writes, sees: []string{}},
		{what: "before it wrote", warm: true, at: wrote, does: none, then: writes, sees: []string{}},
	})
}

// TestCrashInvitations: the bot dies while it comes into a room; it is told of to the
// desk once, and who brought it is known.
func TestCrashInvitations(t *testing.T) {
	comes := func(th *theatre) {
		th.fen = th.ann.Direct(th.b.user)
	}
	speaks := func(th *theatre) {
		th.ann.AwaitMembers(th.fen, 2)
		th.ann.Say(th.fen, th.text("no prefix")) // as in a room for two
		th.ann.Await("an answer", from(th.b.user, th.text("NO PREFIX")))
		came := map[chat.Source]chat.Person{}
		for _, m := range th.b.desk.Heard() {
			if m.Joined && m.Place == placeOf(string(th.fen), "") {
				came[m.Source] = m.Person
			}
		}
		if len(came) != 1 {
			th.Errorf("the desk was told of %d comings", len(came))
		}
		for _, who := range came {
			if who != personOf(string(th.ann.Cli.UserID)) {
				th.Errorf("brought by %q", who)
			}
		}
	}
	join := asks(http.MethodPost, "/join")
	play(t, []point{
		{what: "before it joins", at: join, does: comes, then: speaks, sees: []string{"NO PREFIX"}},
		{what: "it joined, the answer lost", at: join, after: true, does: comes, then: speaks, sees: []string{"NO PREFIX"}},
		{what: "the desk was told, that not kept", does: func(th *theatre) {
			th.b.desk.Answer(func(m chat.Message) []chat.Post { th.world.kill(); return nil })
			comes(th)
			<-th.world.end()
			th.b.echoes()
		}, then: speaks, sees: []string{"NO PREFIX"}},
	})
}

// TestCrashDirectRooms: the bot dies while it makes a room for what is for one alone;
// one room is made, and it is read there.
func TestCrashDirectRooms(t *testing.T) {
	secret := func(th *theatre) {
		th.newcomer()
		p := th.post("secret", "for you alone")
		p.To.Only = personOf(string(th.more[0].Cli.UserID))
		th.gives(p)
	}
	read := func(th *theatre) {
		who := th.more[0]
		who.Await("what is for them", from(th.b.user, th.text("for you alone")))
		who.Quiet(500 * time.Millisecond)
		rooms := map[id.RoomID]int{}
		for _, e := range who.Events() {
			if e.Sender == th.b.user && e.RoomID != th.fen {
				rooms[e.RoomID]++
			}
		}
		made := 0
		th.b.rooms.mu.Lock()
		for _, one := range th.b.rooms.all {
			if one.For == who.Cli.UserID {
				made++
			}
		}
		th.b.rooms.mu.Unlock()
		if len(rooms) != 1 || made != 1 {
			th.Errorf("said in %d of %d rooms that were made", len(rooms), made)
		}
		th.more = nil
	}
	create := asks(http.MethodPost, "/createRoom")
	play(t, []point{
		{what: "before it is made", warm: true, at: create, does: secret, then: read, sees: []string{}},
		{what: "it is made, the answer lost", warm: true, at: create, after: true, does: secret, then: read, sees: []string{}},
		{what: "it is made and known", warm: true, at: keeps("making" + sep), after: true, does: secret, then: read, sees: []string{}},
		{what: "the first words left", warm: true, at: func(s step) bool {
			return asks(http.MethodPut, "/send/")(s) && bytes.Contains(s.body, []byte("ciphertext"))
		}, after: true, does: secret, then: read, sees: []string{}},
	})
}

// TestCrashTakingBack: somebody takes a command back, or edits it, after the bot was
// started anew; it is told that this changes nothing.
func TestCrashTakingBack(t *testing.T) {
	told := func(th *theatre) { th.ann.Await("that it changes nothing", here(th, "matrix.done")) }
	for what, late := range map[string]func(*theatre, id.EventID){
		"taken back": func(th *theatre, e id.EventID) {
			if _, err := th.ann.Cli.RedactEvent(th.Context(), th.fen, e); err != nil {
				th.Fatal(err)
			}
		},
		"edited": func(th *theatre, e id.EventID) {
			c := &event.MessageEventContent{MsgType: event.MsgText, Body: "!roll 9d6"}
			c.SetEdit(e)
			th.ann.Send(th.fen, event.EventMessage, c)
		},
	} {
		t.Run(what, func(t *testing.T) {
			var e id.EventID
			play(t, []point{
				{what: "after a start", at: inOrder(asks(http.MethodPut, "/send/"), keeps(tokenKey)), after: true,
					does: func(th *theatre) { e = th.ann.Say(th.fen, th.text("!roll")) }, then: func(th *theatre) { late(th, e); told(th) }},
				{what: "the sentence left, the answer lost", warm: true, does: func(th *theatre) {
					e = th.ann.Say(th.fen, th.text("!roll"))
					th.ann.Await("the answer", from(th.b.user, th.text("/ROLL")))
					th.world.dies(true, asks(http.MethodPut, "/send/"))
					late(th, e)
				}, then: told},
			})
		})
	}
}

// here is a text of the bot in the scene's room.
func here(th *theatre, text string) func(*event.Event) bool {
	return func(e *event.Event) bool {
		return e.RoomID == th.fen && e.Sender == th.b.user && matrixtest.Body(e) == text
	}
}
