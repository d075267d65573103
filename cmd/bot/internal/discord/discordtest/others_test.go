package discordtest

import (
	"bufio"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
)

// A library that knows the real Discord takes this one for it: discord.js
// 14.28.1 from npm logs in, registers commands, answers everything that people
// can do, resumes and leaves. DISCORD_JS names a directory into which
// `npm install discord.js@14.28.1` was run.
func TestAnotherLibraryBelievesIt(t *testing.T) {
	dir := os.Getenv("DISCORD_JS")
	node, err := exec.LookPath("node")
	if dir == "" || err != nil {
		t.Skip("discord.js is not asked: it needs node, and DISCORD_JS with the directory in which `npm install discord.js@14.28.1` was run")
	}
	s := Start(t, Options{Unchecked: true, Guilds: []Guild{{ID: "4194304", Name: "Fen", More: map[string]any{"channels": []any{map[string]any{"id": "21", "type": 0, "name": "fen"}}}}}})
	bot := exec.Command(node, "testdata/client.cjs")
	bot.Env = append(os.Environ(), "BASE="+s.URL, "TOKEN="+Token, "DISCORD_JS="+dir)
	in, err := bot.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := bot.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	bot.Stderr = os.Stderr
	if err := bot.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = bot.Process.Kill() }) // it has ended, or the test failed
	var mu sync.Mutex
	var told []string
	over := make(chan struct{})
	go func() {
		defer close(over)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			mu.Lock()
			told = append(told, lines.Text())
			mu.Unlock()
		}
	}()
	said := func() []string {
		mu.Lock()
		defer mu.Unlock()
		return slices.Clone(told)
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("it said %q", said())
			for _, r := range s.Requests() {
				t.Logf("%d %s %s %s", r.Status, r.Method, r.Path, r.Raw)
			}
		}
	})
	says := func(what string) {
		t.Helper()
		s.Until("the bot says "+what, func() bool {
			return slices.ContainsFunc(said(), func(l string) bool { return strings.HasPrefix(l, what) })
		})
	}
	says("ready 1")
	if n := len(s.Commands("")); n != 1 {
		t.Errorf("%d commands", n)
	}
	believes(t, s)
	s.Cut()
	says("resumed")
	s.Op(OpReconnect, nil)
	s.Until("a second RESUME", func() bool { return s.Lines().Resumes == 2 && s.Lines().Sessions == 1 })
	believes(t, s)
	if err := in.Close(); err != nil {
		t.Error(err)
	}
	<-over
	if err := bot.Wait(); err != nil {
		t.Error(err)
	}
	says("left")
	if l := s.Lines(); len(l.Identifies) != 1 || slices.Contains(told, "error") || !slices.Contains(l.Closes, 1000) {
		t.Errorf("%d IDENTIFY, closed with %v, said %q", len(l.Identifies), l.Closes, told)
	}
}

// believes lets a person do everything once.
func believes(t *testing.T, s *Server) {
	t.Helper()
	ann := Who{ID: "11", Name: "Ann", Guild: "4194304", Channel: "21"}
	value := func(dice string) map[string]any {
		return map[string]any{"id": "31", "name": "roll", "type": 1, "options": []any{map[string]any{"name": "dice", "type": 3, "value": dice, "focused": true}}}
	}
	if a := s.Do(ann, Autocomplete, value("12")).Answer(t.Context()); a.Type != AnswerChoices || len(a.Data["choices"].([]any)) != 1 {
		t.Errorf("completed with %+v", a)
	}
	before := len(s.Messages("21"))
	rolled := s.Do(ann, SlashCommand, value("12d6"))
	s.Until("an answer and one more", func() bool { return len(s.Messages("21")) == before+2 })
	m, _ := rolled.Message()
	if m.Content() != "rolled 12d6" || m.Loading || len(m.Attachments) != 1 || m.Attachments[0].Description != "twelve dice" || string(m.Attachments[0].Bytes) != "PICTURE" {
		t.Errorf("rolled: %+v", m)
	}
	if more := s.Messages("21")[before+1]; more.Only != ann.ID || more.Content() != "only you" {
		t.Errorf("one more: %+v", more)
	}
	s.Tap(ann, m, "post.1").Answer(t.Context())
	if m, _ := rolled.Message(); m.Content() != "pressed" {
		t.Errorf("pressed: %+v", m)
	}
	form := s.Do(ann, SlashCommand, map[string]any{"id": "32", "name": "order", "type": 1})
	if a := form.Answer(t.Context()); a.Type != AnswerModal || a.Data["title"] != "Orders" {
		t.Fatalf("form: %+v", a)
	}
	sent := s.Submit(form, map[string]any{"orders": "move Pikes"}, nil)
	sent.Answer(t.Context())
	if m, _ := sent.Message(); m.Content() != "orders: move Pikes" {
		t.Errorf("sent: %+v", m)
	}
	s.mu.Lock()
	on := s.json(s.find(m.ID))
	s.mu.Unlock()
	menu := s.Do(ann, SlashCommand, map[string]any{"id": "33", "name": "Explain", "type": 3, "target_id": m.ID, "resolved": map[string]any{"messages": map[string]any{m.ID: on}}})
	menu.Answer(t.Context())
	if m, _ := menu.Message(); m.Content() != "about pressed" || m.Only != ann.ID {
		t.Errorf("about: %+v", m)
	}
}
