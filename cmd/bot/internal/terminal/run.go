package terminal

import (
	"bufio"
	"context"
	"errors"
	"io"
	"strings"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// quiet is how long a message on standard input may pause before it counts as
// complete. An empty line completes it at once.
const quiet = 200 * time.Millisecond

// Run hears everything that is said until the input ends. An error means that
// the desk, the input or the output is broken.
func (t *Terminal) Run(ctx context.Context, d chat.Desk) error {
	if t.Keyboard {
		return t.runKeyboard(ctx, d)
	}
	parser := chatscript.NewParser(t.Place, true)
	lines := make(chan input)
	done := make(chan struct{})
	defer close(done)
	go t.read(lines, done)
	var pause <-chan time.Time
	for {
		var step *chatscript.Step
		var err error
		select {
		case <-ctx.Done():
			return nil
		case <-pause:
			step, pause = parser.End(), nil
		case in, open := <-lines:
			switch {
			case !open:
				return t.hear(ctx, d, parser.End(), nil)
			case in.dry:
				pause = time.After(quiet)
				continue
			case in.err != nil:
				return in.err
			}
			pause = nil
			step, err = parser.Line(in.text)
		}
		if err := t.hear(ctx, d, step, err); err != nil {
			return err
		}
	}
}

// hear hears a step, if there is one, then answers a line that could not be read.
func (t *Terminal) hear(ctx context.Context, d chat.Desk, s *chatscript.Step, bad error) error {
	if s != nil {
		if err := t.Hear(ctx, d, *s); err != nil {
			return err
		}
	}
	var e *chatscript.Error
	if !errors.As(bad, &e) {
		return bad
	}
	t.heard++
	return t.complain(ctx, t.here(), "terminal.refuse.line", "line", e.Line, "what", harmless(e.What), "expected", harmless(e.Expected))
}

// input is a line, or the news that the next one is not there yet.
type input struct {
	text string
	dry  bool
	err  error
}

// read hands lines on until the input ends or nobody listens.
func (t *Terminal) read(lines chan<- input, done <-chan struct{}) {
	defer close(lines)
	send := func(in input) bool {
		select {
		case lines <- in:
			return true
		case <-done:
			return false
		}
	}
	in := bufio.NewReaderSize(t.In, chatscript.MaxLine)
	for {
		if !t.Patient && in.Buffered() == 0 && !send(input{dry: true}) {
			return
		}
		text, err := readLine(in)
		if err == nil || err == io.EOF && text != "" {
			if !send(input{text: text}) {
				return
			}
		}
		if err == io.EOF {
			return
		}
		if err != nil {
			send(input{err: err})
			return
		}
	}
}

// readLine reads one line of any length without keeping more of it than the
// parser needs to refuse it.
func readLine(in *bufio.Reader) (string, error) {
	var b strings.Builder
	for {
		part, err := in.ReadSlice('\n')
		if b.Len() <= chatscript.MaxLine {
			b.Write(part)
		}
		if err != bufio.ErrBufferFull {
			return strings.TrimSuffix(b.String(), "\n"), err
		}
	}
}
