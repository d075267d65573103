package words

import (
	"reflect"
	"testing"
	"testing/fstest"

	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

// TestSay fills one sentence with everything a slot takes; the lines are worked
// out by hand from the package comment.
func TestSay(t *testing.T) {
	catalog, err := Load(fstest.MapFS{"en/t.toml": {Data: []byte(`
[t]
hits = "{who~} has {n} {n#hit|hits}{{{what}}}."
inner = "{reach} in"
`)}})
	if err != nil {
		t.Fatal(err)
	}
	s := Speaker{Catalog: catalog}
	plain := func(text string) chat.Span { return chat.Span{Kind: chat.Plain, Text: text} }
	said := func(text string) chat.Span { return chat.Span{Kind: chat.Said, Text: text} }
	for _, c := range []struct {
		who, n, what any
		want         chat.Line
	}{
		{"ann", 1, "a", chat.Line{plain("Ann has 1 hit{a}.")}},
		{reason.Person("p1"), 2, []string{"a", "b"}, chat.Line{plain("P1 has 2 hits{a, b}.")}},
		{"bo", uint64(2), []reason.Name{"a", "b"},
			chat.Line{plain("Bo has 2 hits{"), said("a"), plain(", "), said("b"), plain("}.")}},
		{"bo", 0, chat.Line{plain("a"), plain("b"), said("c"), plain("d")},
			chat.Line{plain("Bo has 0 hits{ab"), said("c"), plain("d}.")}},
		{"bo", 0, []reason.Reason{{ID: "t.inner", Args: []reason.Arg{{Name: "reach", Value: reason.Inches(125)}}},
			{ID: "t.inner", Args: []reason.Arg{{Name: "reach", Value: reason.Inches(60)}}}},
			chat.Line{plain("Bo has 0 hits{12.5 in; 6 in}.")}},
	} {
		if got := s.Say("t.hits", "who", c.who, "n", c.n, "what", c.what); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %#v", c, got)
		}
	}
	if got := Flat(s.Say("t.hits", "who", "bo", "n", 2)); got != "Bo has 2 hits{[[what]]}." {
		t.Error(got)
	}
	if got := Flat(s.Say("t.none")); got != "[[t.none]]" {
		t.Error(got)
	}
}
