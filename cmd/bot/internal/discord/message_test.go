package discord

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"

	"github.com/bwmarrin/discordgo"
)

func wired(t *testing.T, s *discordtest.Server) (*wires, *bytes.Buffer) {
	t.Helper()
	var log bytes.Buffer
	w, err := wire(Config{Token: discordtest.Token, Base: s.URL, Files: s.URL, Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	return w, &log
}

// full is a post with everything in it, as large as it may be.
func full(id chat.PostID) chat.Post {
	p := chat.Post{ID: id, Quiet: true, Notify: []chat.Person{"discord:11"}, Lines: []chat.Line{said("*Riders* held."), {{Kind: chat.Who, Person: "discord:11"}}}}
	for i := range mostChoices {
		p.Choices = append(p.Choices, chat.Choice{Number: i + 1, Label: strings.Repeat("é", 100)})
	}
	return p
}

// A post goes out as a body that Discord takes, with its picture and the words
// for who cannot see it; sent twice it stands there once, and an edit takes its
// files and its notice away.
func TestMessageGoesOut(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	post := full("fen/12/0")
	m := compose(post)
	m.Nonce, m.Enforce = nonce("discord:21", post.ID), true
	m.Attachments = parcel{files: []made{{"table.png", strings.Repeat("words ", 400), nil}}}.message().Attachments
	c := call{method: http.MethodPost, path: "channels/21/messages", body: m, safe: true}
	s.Fail(discordtest.Fault{Path: "channels/21/messages", Status: 502, After: true}) // taken, and the answer lost
	var sent struct{ ID string }
	c.files = []*discordgo.File{{Name: "table.png", ContentType: "image/png", Reader: strings.NewReader("PICTURE")}}
	if err := w.api.do(t.Context(), c, &sent); err != nil {
		t.Fatal(err)
	}
	got := s.Messages("21")
	if len(got) != 1 || got[0].ID != sent.ID || got[0].Content() != "\\*Riders\\* held\\.\n<@11>" || len(got[0].Attachments) != 1 || string(got[0].Attachments[0].Bytes) != "PICTURE" {
		t.Fatalf("there stands %+v", got)
	}
	if users := fmt.Sprint(got[0].Body["allowed_mentions"]); users != "map[parse:[] users:[11]]" {
		t.Errorf("mentions %s", users)
	}
	post.Edit = post.ID
	if err := w.api.do(t.Context(), call{method: http.MethodPatch, path: "channels/21/messages/" + sent.ID, body: compose(post)}, nil); err != nil {
		t.Fatal(err)
	}
	got = s.Messages("21")
	if len(got) != 1 || len(got[0].Attachments) != 0 || fmt.Sprint(got[0].Body["allowed_mentions"]) != "map[parse:[]]" {
		t.Errorf("after the edit: %+v", got)
	}
	for _, r := range s.Requests() {
		if r.Header.Get("Authorization") != "Bot "+discordtest.Token {
			t.Error("without the token")
		}
	}
}

func TestCustomIDs(t *testing.T) {
	long := chat.PostID("free/" + strings.Repeat("x", 200))
	for _, id := range []chat.PostID{"fen/12/0", "free/discord:1.2/0", long, chat.PostID(strings.Repeat("y", mostCustomID-2))} {
		s := customID(id, 7)
		post, n, ok := readCustomID(s)
		if !ok || n != 7 || post != postKey(id) || len(s) > mostCustomID {
			t.Errorf("%s: %q, %d, %v", s, post, n, ok)
		}
		if len(id) < mostCustomID-1 && post != string(id) {
			t.Errorf("%q stands as %q", id, post)
		}
	}
	for _, bad := range []string{"", ".1", "post", "post.", "post.x", "post.-1", "post.0"} {
		if _, _, ok := readCustomID(bad); ok {
			t.Errorf("%q is taken for a choice", bad)
		}
	}
	a, b := nonce("discord:1", long), nonce("discord:2", long)
	if a == b || len(a) != mostNonce || a != nonce("discord:1", long) {
		t.Errorf("nonces %q and %q", a, b)
	}
}

// arrive lets somebody do something and hands over what the gateway told of it.
func arrive(t *testing.T, w *wires, s *discordtest.Server, i *discordtest.Interaction) *interaction {
	t.Helper()
	raw, err := json.Marshal(i.Payload)
	if err != nil {
		t.Fatal(err)
	}
	return w.arrived(raw, s.Now())
}

func TestInteractionsArrive(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, log := wired(t, s)
	who := fen
	who.Nick, who.Permissions = "Ann of the \u202eWeir", "32"
	i := arrive(t, w, s, s.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "force", "type": 1, "options": []any{
		map[string]any{"name": "add", "type": 1, "options": []any{map[string]any{"name": "text", "type": 3, "value": "Pikes"}, map[string]any{"name": "count", "type": 4, "value": 3}}}}}))
	if i == nil || i.Data.Name != "force" || string(i.Data.Options[0].Options[1].Value) != "3" || !i.BotMay.has(needed) {
		t.Fatalf("arrived as %+v", i)
	}
	m := i.message()
	if m.Person != "discord:11" || m.Place != "discord:21" || m.Name != "Ann of the Weir" || !m.Organiser || m.Private || m.Time.IsZero() || m.Source != chat.Source("discord:"+i.ID) {
		t.Errorf("message %+v", m)
	}
	alone := discordtest.Who{ID: "12", Name: "Bo", Channel: "22"}
	if m := arrive(t, w, s, s.Do(alone, discordtest.SlashCommand, map[string]any{"name": "me"})).message(); !m.Private || m.Name != "Bo" || m.Organiser || m.Community != "discord:@12" {
		t.Errorf("in private: %+v", m)
	}
	who.At = s.Now().Add(-answerWithin - time.Second)
	if i := arrive(t, w, s, s.Do(who, discordtest.SlashCommand, map[string]any{"name": "roll"})); i != nil {
		t.Error("an interaction that nobody can answer any more is heard")
	}
	for _, raw := range []string{"", "null", "[]", `{"id":"x"}`, `{"id":"1","type":"a"}`, `{"id":"4194304"}`, `{"id":"4194304","member":7}`} {
		if w.arrived(json.RawMessage(raw), s.Now()) != nil {
			t.Errorf("%s is heard", raw)
		}
	}
	if text := log.String(); !strings.Contains(text, "too late") || strings.Contains(text, "interaction-secret") {
		t.Errorf("log: %s", text)
	}
}

// Forms come back whole, with parts that nobody knows in them.
func TestForms(t *testing.T) {
	var g given
	const raw = `{"custom_id":"f","components":[{"type":18,"id":1,"component":{"type":4,"id":2,"custom_id":"text","value":"move Pikes"}},
		{"type":18,"component":{"type":19,"custom_id":"file","values":["7"]}},{"type":1,"components":[{"type":4,"custom_id":"old","value":"row"}]},
		{"type":99,"value":{"a":1}},{"type":21,"custom_id":"radio","value":null}]}`
	if err := json.Unmarshal([]byte(raw), &g); err != nil {
		t.Fatal(err)
	}
	text, files := g.fields()
	if fmt.Sprint(text, files) != "map[old:row radio: text:move Pikes] map[file:[7]]" {
		t.Errorf("%v %v", text, files)
	}
}

// FuzzArrived: no event brings the bot down, and none without a person is heard.
func FuzzArrived(f *testing.F) {
	f.Add([]byte(`{"id":"4194304","type":2,"member":{"user":{"id":"1"}},"data":{"options":[{"value":{}}]}}`))
	f.Add([]byte(`{"id":"4194304","user":{"id":"1"},"app_permissions":-1,"data":{"components":[{"component":{"component":{}}}]}}`))
	w, err := wire(Config{})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if i := w.arrived(raw, time.UnixMilli(epoch)); i != nil {
			if m := i.message(); m.Person == "discord:" {
				t.Errorf("%s: heard from nobody", raw)
			}
			i.Data.fields()
		}
	})
}

// Files come from Discord's host alone, and none is larger than it may be.
func TestFilesHandedIn(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	at := s.Put("1/2/weir.toml", discordtest.File{Bytes: []byte("name = 1\n")})
	f, err := w.fetch(t.Context(), handedIn{Name: "weir.toml", Size: 9, URL: at})
	if err != nil || f.Name != "weir.toml" || string(f.Bytes) != "name = 1\n" {
		t.Errorf("%+v, %v", f, err)
	}
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("another host was asked") }))
	t.Cleanup(elsewhere.Close)
	bent := httptest.NewServer(http.RedirectHandler(elsewhere.URL, http.StatusFound))
	t.Cleanup(bent.Close)
	big := s.Put("1/3/big", discordtest.File{Bytes: make([]byte, mostHandedIn+1)})
	for _, c := range []struct {
		file handedIn
		want error
	}{
		{handedIn{URL: elsewhere.URL}, errElsewhere}, {handedIn{URL: "file:///etc/passwd"}, errElsewhere}, {handedIn{URL: "::"}, errElsewhere},
		{handedIn{URL: strings.Replace(at, "http://", "http://ann@", 1)}, errElsewhere},
		{handedIn{URL: at, Size: 100 << 20}, errTooLarge}, {handedIn{URL: big, Size: 1}, errTooLarge},
	} {
		if _, err := w.fetch(t.Context(), c.file); !errors.Is(err, c.want) {
			t.Errorf("%s of %d: %v, want %v", c.file.URL, c.file.Size, err, c.want)
		}
	}
	w2, err := wire(Config{Base: s.URL, Files: bent.URL})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w2.fetch(t.Context(), handedIn{URL: bent.URL}); !errors.Is(err, errElsewhere) {
		t.Errorf("led elsewhere: %v", err)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := w.fetch(over, handedIn{URL: at}); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end: %v", err)
	}
}
