package commands

import (
	"strings"
	"testing"
	"unicode"

	"drumhead/commands/chat"
	"drumhead/commands/words"
)

// hostileNames are what people may call themselves on a platform, or a unit.
var hostileNames = map[string]string{
	"turned round": "a\u202eb\u202d\u2066c", "unseen": "\u200b\u200d\ufeff", "two lines": "Bo\n> #fen\n| Bo wins.", "separators": "Bo\u2028Bo wins\u2029.",
	"marks": "e" + strings.Repeat("\u0301", 10000), "long": strings.Repeat("Bo ", 4000), "screen": "\x1b[2J\x1b[31mBo\a", "nothing": "", "spaces": "   ",
	"markup": "**[Bo](https://x.example)** `x` ||y|| @everyone <@1> <#2>", "not UTF-8": "B\xff\xfeo", "tags": "Bo\U000E0041\U000E007F", "number": "1", "command": "/battle concede",
}

// TestHostileNames: whoever calls himself what he likes can neither break a post,
// nor fill it, nor turn its lines round, nor begin one of his own.
func TestHostileNames(t *testing.T) {
	for kind, name := range hostileNames {
		t.Run(kind, func(t *testing.T) {
			tb := atCampaign(t)
			say := func(place, text string) {
				m := tb.message("Evil", place, text)
				tb.line++
				m.Name = name
				tb.handle(m)
			}
			for _, text := range []string{"/roll 12d6 4+", "/roll 2d6 for " + name, "/tell I am " + name, "/campaign join Tollhouse", "/battle open", "/force add " + name + "\n10 Pikes", "/due", "/me show"} {
				say("#osier", text)
			}
			tb.say("Ann", "#osier", "/standings")
			tb.say("Ann", "#osier", "/campaign map")
			tb.say("Ann", "#osier", "/campaign gazette")
			tb.say("Ann", "#osier", "/luck")
			for _, p := range tb.posts {
				if p.Error == "broken" {
					t.Fatalf("%+v", p)
				}
				sound(t, p)
			}
		})
	}
}

// sound looks at a post for what would harm whoever reads it.
func sound(t *testing.T, p chat.Post) {
	t.Helper()
	length := 0
	texts := []string{}
	for _, l := range p.Lines {
		for _, s := range l {
			if s.Kind != chat.Said { // words are kept as they were; adapters show what they are
				texts = append(texts, words.Flat(chat.Line{s}))
			}
			if s.Kind == chat.Who && len(s.Text) > 200 {
				t.Errorf("a name of %d bytes is mentioned", len(s.Text))
			}
		}
	}
	for _, c := range p.Choices {
		texts = append(texts, c.Label)
	}
	for _, r := range p.Pictures {
		texts = append(texts, r.Alt)
	}
	for _, text := range texts {
		length += len(text)
		for _, r := range text {
			if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029' || r == unicode.ReplacementChar {
				t.Errorf("%U stands in %q", r, text[:min(len(text), 200)])
				break
			}
		}
	}
	if length > 20000 {
		t.Errorf("a post of %d bytes: %q", length, texts[0][:min(len(texts[0]), 200)])
	}
}

// TestTwoCalledAlike: where two have one name, it is asked which is meant, and
// nobody is taken for the other.
func TestTwoCalledAlike(t *testing.T) {
	tb := atCampaign(t)
	m := tb.message("Evil", "#osier", "/roll 2d6")
	m.Name = "Bo"
	tb.handle(m)
	before := tb.size("#osier")
	got := tb.say("Ann", "#osier", "/battle open Bo 500 Drowned Bridge")
	if tb.size("#osier") != before || !strings.Contains(got, "several") {
		t.Errorf("who is Bo?\n%s", got)
	}
	tb.say("Ann", "#osier", "/result Ann beat Bo 7 to 5 at Alder Ford")
	if p := tb.posts[len(tb.posts)-1]; len(p.Notify) != 1 || p.Notify[0] != "test:bo" {
		t.Errorf("who played is Bo of the campaign: %+v", p)
	}
	m = tb.message("Evil", "#osier", "/result I beat Ann 9 to 0 at Heron Weir")
	m.Name = "Bo"
	tb.line++
	m.Source = "test:evil:2"
	before = tb.size("#osier")
	if got := tb.handle(m); tb.size("#osier") != before {
		t.Errorf("somebody else reported for Bo:\n%s", got)
	}
}

// TestLabelIsNoRoll: a label that could pass for another's roll stands in quotation
// marks, and cannot end them.
func TestLabelIsNoRoll(t *testing.T) {
	for label, want := range map[string]string{
		"Bo rolls 12d6 for 4+: 12 successes.": `"Bo rolls 12d6 for 4+: 12 successes.", Mo: 2d6: `,
		`x", Bo: 2d6: 12. "`:                  `"x', Bo: 2d6: 12. '", Mo: 2d6: `,
		"the bridge, at last":                 "the bridge, at last, Mo: 2d6: ",
	} {
		tb := newTable(t)
		if got := tb.say("Mo", "#club", "/roll 2d6 for "+label); !strings.Contains(got, want) {
			t.Errorf("%s:\n%s", label, got)
		}
	}
}
