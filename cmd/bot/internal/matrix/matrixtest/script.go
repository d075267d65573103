//go:build goolm

package matrixtest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
	"time"
)

// Script is somebody at matrix-js-sdk, another implementation of everything: what
// it reads was encrypted as it should be, and the shield that it shows is what
// people see.
type Script struct {
	User string

	t      testing.TB
	in     io.WriteCloser
	mu     sync.Mutex
	n      int
	events []Seen
	sas    []string
	answer map[int]chan reply
	more   chan struct{}
}

// Seen is an event as matrix-js-sdk shows it. Colour is that of its shield: 0 for
// none, 1 grey, 2 red, -1 where there is nothing to say.
type Seen struct {
	ID        string          `json:"id"`
	Room      string          `json:"room"`
	Sender    string          `json:"sender"`
	Type      string          `json:"type"`
	Content   json.RawMessage `json:"content"`
	Encrypted bool            `json:"encrypted"`
	Failed    bool            `json:"failed"`
	Why       string          `json:"why"`
	Colour    int             `json:"colour"`
	Reason    int             `json:"reason"`
}

// Body is the text of a message.
func (s Seen) Body() string {
	var c struct {
		Body string `json:"body"`
	}
	_ = json.Unmarshal(s.Content, &c)
	return c.Body
}

type reply struct {
	ID    int             `json:"id"`
	OK    json.RawMessage `json:"ok"`
	Error string          `json:"error"`
	Event *Seen           `json:"event"`
	SAS   []string        `json:"sas"`
}

// Scripted registers somebody at matrix-js-sdk, or skips the test with how to
// enable it.
func (s *Server) Scripted(name string) *Script {
	s.t.Helper()
	dir := os.Getenv(ScriptEnv)
	if dir == "" {
		s.t.Skipf("needs matrix-js-sdk: run npm ci in a copy of cmd/bot/internal/matrix/testdata/matrixjs and set %s to that directory", ScriptEnv)
	}
	_, here, _, _ := runtime.Caller(0)
	source, err := os.ReadFile(filepath.Join(filepath.Dir(here), "..", "testdata", "matrixjs", "person.mjs"))
	if err != nil {
		s.t.Fatal(err)
	}
	run := filepath.Join(dir, "person.mjs") // beside its node_modules
	if err := os.WriteFile(run, source, 0o600); err != nil {
		s.t.Fatal(err)
	}
	a := s.Register(name, true)
	p := &Script{User: a.User, t: s.t, answer: map[int]chan reply{}, more: make(chan struct{}, 1)}
	cmd := exec.Command("node", run)
	cmd.Dir = dir
	dieWithUs(cmd)
	if p.in, err = cmd.StdinPipe(); err != nil {
		s.t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	go p.read(out)
	s.t.Cleanup(func() {
		p.in.Close()
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	p.Do("start", map[string]any{"url": s.URL, "user": a.User, "token": a.Token, "device": a.Device, "password": Password}, nil)
	return p
}

func (p *Script) read(out io.Reader) {
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		var r reply
		if json.Unmarshal(lines.Bytes(), &r) != nil {
			continue
		}
		p.mu.Lock()
		switch {
		case r.Event != nil:
			p.events = append(p.events, *r.Event)
			select {
			case p.more <- struct{}{}:
			default:
			}
		case r.SAS != nil:
			p.sas = r.SAS
		case p.answer[r.ID] != nil:
			p.answer[r.ID] <- r
		}
		p.mu.Unlock()
	}
}

// Try has the script do something and returns what went wrong.
func (p *Script) Try(do string, with map[string]any, into any) error {
	p.mu.Lock()
	p.n++
	n, c := p.n, make(chan reply, 1)
	p.answer[n] = c
	p.mu.Unlock()
	line := map[string]any{"id": n, "do": do}
	for k, v := range with {
		line[k] = v
	}
	b, err := json.Marshal(line)
	if err != nil {
		return err
	}
	if _, err := p.in.Write(append(b, '\n')); err != nil {
		return err
	}
	select {
	case r := <-c:
		if r.Error != "" {
			return fmt.Errorf("%s: %s", do, r.Error)
		}
		if into != nil {
			return json.Unmarshal(r.OK, into)
		}
		return nil
	case <-time.After(60 * time.Second):
		return fmt.Errorf("%s: no answer", do)
	}
}

// Do has the script do something.
func (p *Script) Do(do string, with map[string]any, into any) {
	p.t.Helper()
	if err := p.Try(do, with, into); err != nil {
		p.t.Fatal(err)
	}
}

// Say sends a text and returns its event.
func (p *Script) Say(room, text string) (event string) {
	p.t.Helper()
	p.Do("say", map[string]any{"room": room, "text": text}, &event)
	return event
}

// Shows is what somebody who opens a room sees of what was said in it: edits stand in
// the place of what they change, and what was taken away is not there.
func (p *Script) Shows(room string) (all []Seen) {
	p.t.Helper()
	p.Do("shows", map[string]any{"room": room}, &all)
	return all
}

// Room makes a room with people in it, and waits until they are.
func (p *Script) Room(encrypted bool, invite ...string) (room string) {
	p.t.Helper()
	p.Do("room", map[string]any{"invite": invite, "encrypted": encrypted}, &room)
	p.Do("members", map[string]any{"room": room, "n": 1 + len(invite)}, nil)
	return room
}

// Emoji are those that were last shown for a verification.
func (p *Script) Emoji() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.sas
}

// Await waits for an event that fits.
func (p *Script) Await(what string, fits func(Seen) bool) Seen {
	p.t.Helper()
	end := time.After(30 * time.Second)
	for {
		p.mu.Lock()
		for _, e := range p.events {
			if fits(e) {
				p.mu.Unlock()
				return e
			}
		}
		var got []string
		for _, e := range p.events {
			got = append(got, fmt.Sprintf("%s %s %s%.160s", e.Sender, e.Type, e.Why, e.Content))
		}
		p.mu.Unlock()
		select {
		case <-p.more:
		case <-end:
			p.t.Fatalf("%s never saw %s; it saw %q", p.User, what, got)
		}
	}
}
