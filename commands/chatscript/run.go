package chatscript

import (
	"context"
	"fmt"
	"strings"
)

// Runner drives a bot through some adapter. Its methods are called one after
// the other.
type Runner interface {
	// Say lets a person say or tap something, and waits until the bot has
	// answered all it will.
	Say(ctx context.Context, m Message) error
	// Do follows a direction.
	Do(ctx context.Context, d Direction) error
	// Shown returns what people were shown since it was last asked, in order.
	Shown() []Shown
}

// Run plays a script and returns it with the posts that it gave instead of
// those that it expected. An error is the runner's: what was said could not be
// said, not that a post differs.
func Run(ctx context.Context, s *Script, r Runner) (string, error) {
	var out strings.Builder
	write := func(lines []string) {
		for _, line := range lines {
			out.WriteString(line + "\n")
		}
	}
	for _, step := range s.Steps {
		var err error
		switch a := step.Act.(type) {
		case Post:
			continue
		case nil:
			write(step.Source)
			continue
		case Message:
			err = r.Say(ctx, a)
		case Direction:
			err = r.Do(ctx, a)
		}
		if err != nil {
			return out.String(), fmt.Errorf("%s: line %d: %w", s.Name, step.Line, err)
		}
		write(step.Source)
		for _, shown := range r.Shown() {
			write(shown.Post().Source())
		}
	}
	return out.String(), nil
}

// Text is the script as it stands, one spelling for white space at a line's end.
func (s *Script) Text() string {
	var out strings.Builder
	for _, step := range s.Steps {
		for _, line := range step.Source {
			if _, post := step.Act.(Post); post {
				line = strings.TrimRight(line, " \t")
			}
			out.WriteString(line + "\n")
		}
	}
	return out.String()
}
