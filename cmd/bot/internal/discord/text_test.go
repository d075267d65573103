package discord

import (
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/chat"
)

func said(s string) chat.Line { return chat.Line{{Kind: chat.Said, Text: s}} }

// What people write is never markup, a mention, a link, a time or an emoji. The
// signs are those of Discord's own list of markup ("Message Formatting", and its
// help article on markdown); letters, spaces and accents stay.
func TestEscape(t *testing.T) {
	for in, want := range map[string]string{
		"Weir Pikes, 9 in":              "Weir Pikes, 9 in",
		"*b* _i_ ~~s~~ ||spoiler||":     `\*b\* \_i\_ \~\~s\~\~ \|\|spoiler\|\|`,
		"> quote # head - list":         `\> quote \# head \- list`,
		"<@1> @everyone <#2> <t:0>":     `\<\@1\> \@everyone \<\#2\> \<t\:0\>`,
		"https://osier.test [a](b)":     `https\://osier\.test \[a\]\(b\)`,
		":x: `c` \\":                    "\\:x\\: \\`c\\` \\\\",
		"a\u202eb\u200bc\ufeffd\x00":    "abcd",
		"one\ntwo\u2028three\u00a0four": "one twothree four",
		"Z\u0301\u0302\u0303\u0304":     "Z\u0301\u0302",
		"":                              "",
	} {
		if got := escape(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	if n := utf8.RuneCountInString(harmless(strings.Repeat("a\u0301", 10000))); n != mostWords+1 {
		t.Errorf("10,000 letters with marks became %d characters", n)
	}
}

// FuzzEscape: taking the backslashes off gives the words again, no sign that
// means something stands without one, nothing that turns text round is left.
func FuzzEscape(f *testing.F) {
	for _, seed := range []string{"", "*b*", "\\*", "a\u202eb", "@everyone", "```\nx```", "<@!1>", strings.Repeat("e\u0301", 600)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := escape(s)
		var back strings.Builder
		off := false
		for _, r := range got {
			if sign := r < 128 && (unicode.IsPunct(r) || unicode.IsSymbol(r)); sign && !off && r != '\\' && !strings.ContainsRune(meansNothing, r) {
				t.Errorf("%q stands bare in %q", r, got)
			}
			if off = r == '\\' && !off; !off {
				back.WriteRune(r)
			}
			if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
				t.Errorf("%q is left in %q", r, got)
			}
		}
		if back.String() != plain(s) {
			t.Errorf("%q came back as %q", plain(s), back.String())
		}
		if strings.ContainsAny(quoted(s), "`\n") {
			t.Errorf("%q leaves its code", quoted(s))
		}
	})
}

func TestText(t *testing.T) {
	at := time.Date(2026, 10, 25, 19, 0, 0, 0, time.UTC)
	p := chat.Post{Notify: []chat.Person{"discord:11", "discord:12", "elsewhere:13"}, Lines: []chat.Line{
		{{Kind: chat.Who, Person: "discord:11", Text: "Ann"}, {Kind: chat.Plain, Text: " rolls 12d6 for 4+: "}, {Kind: chat.Number, Entry: 3, Text: ".2"}},
		{{Kind: chat.Plain, Text: "Pikes   12  9"}},
		{{Kind: chat.Said, Text: "`Weir`  "}, {Kind: chat.When, Time: at}},
		{{Kind: chat.Plain, Text: "until "}, {Kind: chat.When, Time: at, Zone: "Europe/Paris"}},
		{{Kind: chat.Command, Text: "/roll `2d6`"}, {Kind: chat.Plain, Text: " "}, {Kind: chat.Who, Person: "elsewhere:14", Text: "B*o"}},
	}}
	want := strings.Join([]string{
		`<@11> rolls 12d6 for 4\+\: \#3\.2`,
		"```", "Pikes   12  9", "ˋWeirˋ  2026-10-25 19:00 UTC", "```",
		"until <t:1792954800:f>",
		"`/roll ˋ2d6ˋ` B\\*o",
		"<@12>",
	}, "\n")
	if got := text(p); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	const file = "Ann rolls 12d6 for 4+: #3.2\nPikes   12  9\n`Weir`  2026-10-25 19:00 UTC\nuntil 2026-10-25 19:00 UTC\n/roll `2d6` B*o\n"
	if got := asFile(p); got != file {
		t.Errorf("as a file\n%s\nwant\n%s", got, file)
	}
}

// A text is measured in code points after escaping: 2,000 letters of two bytes
// fit, 1,001 stars do not.
func TestFits(t *testing.T) {
	two := []chat.Line{said(strings.Repeat("é", mostWords)), {{Kind: chat.Plain, Text: strings.Repeat("é", mostText-mostWords-1)}}}
	if got := text(chat.Post{Lines: two}); !fits(got) || utf8.RuneCountInString(got) != mostText {
		t.Errorf("%d characters do not fit", utf8.RuneCountInString(got))
	}
	stars := []chat.Line{said(strings.Repeat("*", mostWords)), said("*")}
	if fits(text(chat.Post{Lines: stars})) {
		t.Error("1,001 stars fit")
	}
}

func TestIDs(t *testing.T) {
	for ours, want := range map[string]string{"discord:11": "11", "discord:": "", "terminal:11": "", "discord:ann": "", "discord:@11": "", "discord:99999999999999999999999": ""} {
		if id, ok := userID(chat.Person(ours)); ok != (want != "") || ok && id != want {
			t.Errorf("%q: %q, %v", ours, id, ok)
		}
	}
}
