package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"drumhead/cmd/bot/internal/terminal"
	"drumhead/commands/chatscript"
	"drumhead/commands/words"
	"drumhead/testdata"
)

// demoSeed makes the demo's dice. It was not picked: it spells the year.
const demoSeed = "2026"

// demo plays a whole evening of two players and an organiser.
func demo(c *call) error {
	fast := c.flags.Bool("fast", false, "at once, not at reading speed")
	out := c.flags.String("out", "", "where to leave ledger, checkpoint and report (usual: a new directory)")
	if _, err := c.parse(0); err != nil {
		return err
	}
	if *out == "" {
		dir, err := os.MkdirTemp("", "drumhead-demo-")
		if err != nil {
			return err
		}
		*out = dir
	}
	seed, err := practiceSeed(demoSeed, true)
	if err != nil {
		return err
	}
	data := filepath.Join(*out, "data")
	if _, err := os.Stat(data); err == nil {
		return fmt.Errorf("%s holds a demo already; name another directory with --out", *out)
	}
	script, err := chatscript.Read("demo.txt", strings.NewReader(testdata.Demo))
	if err != nil {
		return err
	}
	h, err := openHouse(c.ctx, plan{data: data, practice: seed, log: c.log()})
	if err != nil {
		return err
	}
	show := &performance{ctx: c.ctx, out: c.out, files: filepath.Join(*out, filesDir), fast: *fast}
	err = show.play(h, script)
	var done []exported
	if err == nil {
		done, err = exporter{store: h.store, dir: h.directory, out: *out, words: true}.all(c.ctx, "")
	}
	if err := errors.Join(err, h.close()); err != nil {
		return err
	}
	return c.curtain(*out, done)
}

// curtain verifies what the demo left and says what to try next.
func (c *call) curtain(out string, done []exported) error {
	catalog, err := words.English()
	if err != nil {
		return err
	}
	for _, e := range done {
		fmt.Fprintf(c.out, "$ bot verify %s\n", e.path)
		v := &evidence{path: e.path, files: map[string][]byte{}}
		if err := v.read(nil); err != nil {
			return err
		}
		if err := v.judge(speech{c.out, words.Speaker{Catalog: catalog}}, nil); err != nil {
			return err
		}
		fmt.Fprintln(c.out)
	}
	fmt.Fprintf(c.out, `Left in %s: ledger, signed checkpoint and pinned rules; the report in files; all in data.
Try next:
  bot verify %s   change one byte of it first, and see
  bot play --data %s --practice %s --as ann   go on with this evening
  bot play   your own table; type /help
`, out, done[0].path, filepath.Join(out, "data"), demoSeed)
	return nil
}

// performance plays a script so that it can be read along.
type performance struct {
	ctx   context.Context
	out   io.Writer
	files string // directory for what the posts carry
	fast  bool
}

// Reading speed: a pause after each message and each line of an answer.
const (
	pauseMessage = 1200 * time.Millisecond
	pauseLine    = 450 * time.Millisecond
)

func (p *performance) pause(d time.Duration) {
	if p.fast {
		return
	}
	select {
	case <-p.ctx.Done():
	case <-time.After(d):
	}
}

// play lets everybody say their lines and shows what the bot answers. Comments
// tell what is going on.
func (p *performance) play(h *house, script *chatscript.Script) error {
	t, err := h.seat(terminal.Config{Out: p.out, As: "reader", Open: func(name string) ([]byte, error) {
		return testdata.Forces.ReadFile(path.Join("chat", name)) // as the script's directory lies to the forces
	}, Watch: func(s chatscript.Shown) { p.pause(time.Duration(len(s.Lines)) * pauseLine) }})
	if err != nil {
		return err
	}
	t.Files = p.files
	for _, step := range script.Steps {
		if err := p.ctx.Err(); err != nil {
			return err
		}
		switch step.Act.(type) {
		case chatscript.Post:
			continue
		case nil:
			if text := strings.TrimSpace(strings.TrimPrefix(step.Source[0], "#")); text != "" {
				fmt.Fprintf(p.out, "— %s\n", text)
			}
			continue
		}
		fmt.Fprintf(p.out, "%s\n\n", strings.Join(step.Source, "\n"))
		p.pause(pauseMessage)
		if err := t.Hear(p.ctx, h.desk, step); err != nil {
			return explain(err)
		}
	}
	return nil
}
