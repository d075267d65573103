package matrix

import (
	"testing"
	"time"

	"drumhead/commands/chat"
)

func testPen() pen {
	return pen{prefix: "!", name: func(u string) string { return u[1:2] }, say: func(_ string, slots ...any) string { return "Answer: " + slots[1].(string) }}
}

func TestPage(t *testing.T) {
	bo := personOf("@bo:osier.test")
	for name, c := range map[string]struct {
		post chat.Post
		want page
	}{
		"columns stay aligned": {
			chat.Post{Lines: []chat.Line{{{Kind: chat.Plain, Text: "Odds:"}}, {{Kind: chat.Plain, Text: "hits  5"}}, {{Kind: chat.Plain, Text: "<3>   6"}}, {{Kind: chat.Plain, Text: "Done."}}}},
			page{"Odds:\nhits  5\n<3>   6\nDone.", "Odds:<pre><code>hits  5\n&lt;3&gt;   6</code></pre>Done.", nil},
		},
		"a command is written as it is typed here": {
			chat.Post{Lines: []chat.Line{{{Kind: chat.Plain, Text: "Type "}, {Kind: chat.Command, Text: "/roll 3d6"}, {Kind: chat.Plain, Text: " & see."}}}},
			page{"Type !roll 3d6 & see.", "Type <code>!roll 3d6</code> &amp; see.", nil},
		},
		"so are those within a sentence": {
			chat.Post{Lines: []chat.Line{{{Kind: chat.Plain, Text: "Try /roll 3d6 <now>, or/and \"/help\"; /due"}}, {{Kind: chat.Said, Text: "I type /roll"}}}},
			page{"Try !roll 3d6 <now>, or/and \"!help\"; !due\nI type /roll", "Try <code>!roll</code> 3d6 &lt;now&gt;, or/and &#34;<code>!help</code>&#34;; <code>!due</code><br>I type /roll", nil},
		},
		"only who is notified is mentioned": {
			chat.Post{Notify: []chat.Person{bo}, Lines: []chat.Line{{{Kind: chat.Who, Person: bo, Text: "<Bo>"}, {Kind: chat.Plain, Text: " hits "}, {Kind: chat.Who, Person: personOf("@ann:osier.test"), Text: "Ann"}}}},
			page{"<Bo> hits Ann", `<a href="https://matrix.to/#/@bo:osier.test">&lt;Bo&gt;</a> hits Ann`, []string{"@bo:osier.test"}},
		},
		"who stands in no line is named at the end": {
			chat.Post{Notify: []chat.Person{bo}, Lines: []chat.Line{{{Kind: chat.Plain, Text: "Well?"}}}, Choices: []chat.Choice{{Number: 1, Label: "<b>Yes"}, {Number: 2}}},
			page{"Well?\nb\nAnswer: [1] <b>Yes · [2] 2", `Well?<br><a href="https://matrix.to/#/@bo:osier.test">b</a><br>Answer: [1] &lt;b&gt;Yes · [2] 2`, []string{"@bo:osier.test"}},
		},
		"strangers' words are never markup and mention nobody": {
			chat.Post{Lines: []chat.Line{{{Kind: chat.Said, Text: "@room <mx-reply>\u202e\x1b[2J&amp;\n@bo:osier.test"}}}},
			page{"@room <mx-reply>[2J&amp; @bo:osier.test", "@room &lt;mx-reply&gt;[2J&amp;amp; @bo:osier.test", nil},
		},
		"HTML forgets spaces": {
			chat.Post{Lines: []chat.Line{{{Kind: chat.Plain, Text: "  set in"}}}},
			page{"  set in", "\u00a0\u00a0set in", nil},
		},
		"a time is in its person's zone": {
			// 19:00 UTC on 25 October 2026 is noon in Los Angeles: summer time there ends on 1 November.
			chat.Post{Lines: []chat.Line{{{Kind: chat.When, Time: time.Date(2026, 10, 25, 19, 0, 0, 0, time.UTC), Zone: "America/Los_Angeles"}, {Kind: chat.Plain, Text: " "}, {Kind: chat.Number, Entry: 210, Text: ".3"}}}},
			page{"Sun 25 Oct 12:00 Los Angeles #210.3", "Sun 25 Oct 12:00 Los Angeles #210.3", nil},
		},
		"nobody of another platform is mentioned": {
			chat.Post{Notify: []chat.Person{"discord:175928847299117063", "matrix:@x\"onclick:osier.test"}, Lines: []chat.Line{{{Kind: chat.Plain, Text: "Hm."}}}},
			page{"Hm.\nx", `Hm.<br><a href="https://matrix.to/#/@x%22onclick:osier.test">x</a>`, []string{`@x"onclick:osier.test`}},
		},
	} {
		got := testPen().page(c.post)
		if got.Plain != c.want.Plain || got.HTML != c.want.HTML || len(got.Mentions) != len(c.want.Mentions) {
			t.Errorf("%s:\n got %q\nwant %q", name, got, c.want)
		}
	}
}

func TestCards(t *testing.T) {
	c, ok := cardOf(chat.Post{ID: "p/1", Choices: []chat.Choice{{Number: 1, Label: "Accept"}, {Number: 2, Label: "Change terms", Form: "Which?"}}}, "matrix:!fen:osier.test", time.Now())
	if !ok {
		t.Fatal("no card")
	}
	for said, want := range map[string]struct {
		number int
		rest   string
	}{
		"1": {1, ""}, "[2]": {2, ""}, " accept ": {1, ""}, "change  Terms": {2, ""}, "2 no mortar; 400 points": {2, "no mortar; 400 points"},
		"Change terms: none": {2, "none"}, "12": {}, "acceptable": {}, "2nd": {}, "1 please": {}, "": {},
	} {
		choice, rest, _ := c.read(said, true)
		if choice.Number != want.number || rest != want.rest {
			t.Errorf("%q picks %d with %q, want %+v", said, choice.Number, rest, want)
		}
	}
	if _, _, ok := c.read("2 of them came", false); ok {
		t.Error("talk picked a choice")
	}
}

func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		room, root string
	}{{"!fen:osier.test", ""}, {"!a/b:osier.test", "$root-_x"}, {"!abc", "$y"}, {"!fen:osier.test:8448", ""}} {
		room, root, ok := readPlace(placeOf(c.room, c.root))
		if !ok || room != c.room || root != c.root {
			t.Errorf("%+v came back as %q %q", c, room, root)
		}
	}
	for _, p := range []chat.Place{"", "matrix:", "matrix:fen", "discord:12", "elsewhere:#fen"} {
		if _, _, ok := readPlace(p); ok {
			t.Errorf("%q was read", p)
		}
	}
}

func TestSettings(t *testing.T) {
	good := Settings{Homeserver: "https://matrix.osier.example", User: "@drumhead:osier.example"}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, change := range map[string]func(*Settings){
		"no address": func(s *Settings) { s.Homeserver = "osier.example" }, "a token over the open net": func(s *Settings) { s.Homeserver = "http://osier.example" },
		"no user": func(s *Settings) { s.User = "drumhead" }, "a letter as prefix": func(s *Settings) { s.Prefix = "roll" },
		"a person without @": func(s *Settings) { s.People = []string{"ann:osier.example"} }, "a room by its alias": func(s *Settings) { s.Rooms = []string{"#fen:osier.example"} },
		"an address as server": func(s *Settings) { s.Servers = []string{"https://osier.example"} },
	} {
		s := good
		change(&s)
		if s.Check() == nil {
			t.Errorf("%s passed", name)
		}
	}
	for _, c := range []struct {
		servers, people []string
		inviter         string
		want            bool
	}{
		{nil, nil, "@ann:osier.example", true}, {nil, nil, "@ann:elsewhere.example", false},
		{[]string{"elsewhere.example"}, nil, "@ann:elsewhere.example", true}, {[]string{"elsewhere.example"}, nil, "@ann:osier.example", false},
		{nil, []string{"@ann:osier.example"}, "@ann:osier.example", true}, {nil, []string{"@ann:osier.example"}, "@bo:osier.example", false},
		{[]string{"example"}, nil, "@ann:osier.example", false},
	} {
		s := good
		s.Servers, s.People = c.servers, c.people
		if got := s.admits("!fen:osier.example", c.inviter); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
	t.Setenv(DefaultPickleEnv, "short")
	if _, err := good.pickleKey(); err == nil {
		t.Error("a short key passed")
	}
}
