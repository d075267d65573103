package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"strings"
)

// Exit codes.
const (
	good  = 0
	bad   = 1 // it did not work, or what was checked is not good
	usage = 2 // the command line cannot be read
)

// call is one start of the program: what it was told and where it speaks.
type call struct {
	ctx    context.Context
	args   []string // after the subcommand
	in     io.Reader
	out    io.Writer
	errs   io.Writer
	flags  *flag.FlagSet
	topic  subcommand
	parsed bool
}

// subcommand is one thing that the program can do.
type subcommand struct {
	name  string
	line  string // its arguments, as help shows them
	sense string // what it does, in a sentence
	more  string // what its own help tells besides, "" for nothing
	run   func(c *call) error
}

// subcommands in the order of the help.
func subcommands() []subcommand {
	return []subcommand{
		{"play", "[--data DIR] [--as NAME] [--script FILE] [--json] …", "play in the terminal, or let a program play", scriptHelp, play},
		{"demo", "[--fast] [--out DIR]", "watch a whole evening: battle, proof, campaign", "", demo},
		{"verify", "FILE.jsonl [--checkpoint FILE] [--key VKEY] [--against FILE.jsonl]", "check a ledger without the bot that made it", "", verify},
		{"export", "[--data DIR] [--place P] [--out DIR] [--words]", "write ledgers, checkpoints and pinned files", "", export},
		{"picture", "KIND [FILE.json|- OUT.png|OUT.svg]", "draw dice, odds, luck, a map or standings from JSON", "", draw},
		{"pack", "check FILE | show ID|FILE", "check a rules pack, or show its rules in words", "", pack},
		{"stream", "[--bytes N] [--seed WORD]", "write raw bytes of dice, for programs that test randomness", "", stream},
		{"schema", "[NAME]", "print a JSON Schema", "", schema},
		{"serve", "--config FILE", "connect to chat platforms", "", serve},
		{"matrix", "login [--recover] | verify | logout --config FILE", "look after the bot's account on Matrix", "", account},
		{"doctor", "--config FILE", "say what is wrong with a set-up, and what to do", "", doctor},
		{"version", "", "say which version this is", "", version},
		{"help", "[SUBCOMMAND]", "say what the subcommands do", "", help},
	}
}

// Run does what the command line asks for and returns the exit code: 0 if all
// is well, 1 if not, 2 for a command line that cannot be read.
func Run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	if len(args) == 0 {
		args = []string{"help"}
	}
	name := strings.TrimLeft(args[0], "-")
	for _, s := range subcommands() {
		if s.name != name && !(s.name == "help" && name == "h") {
			continue
		}
		c := &call{ctx: ctx, args: args[1:], in: in, out: out, errs: errs, topic: s, flags: flag.NewFlagSet(name, flag.ContinueOnError)}
		c.flags.SetOutput(io.Discard)
		return c.finish(s.run(c))
	}
	fmt.Fprintf(errs, "There is no subcommand %q. Expected one of: %s. Example: bot play\n", args[0], strings.Join(names(), ", "))
	return usage
}

func names() []string {
	var out []string
	for _, s := range subcommands() {
		out = append(out, s.name)
	}
	return out
}

// errUsage marks what is wrong with the command line itself.
var errUsage = errors.New("the command line cannot be read")

// errSaid marks a failure that was told already.
var errSaid = errors.New("told already")

// finish says what went wrong and gives the exit code.
func (c *call) finish(err error) int {
	switch {
	case err == nil:
		return good
	case errors.Is(err, flag.ErrHelp):
		c.describe(c.out, c.topic)
		return good
	case errors.Is(err, errSaid):
		return bad
	case errors.Is(err, errUsage):
		fmt.Fprintf(c.errs, "bot %s: %s\n", c.topic.name, strings.TrimPrefix(err.Error(), errUsage.Error()+": "))
		fmt.Fprintf(c.errs, "Expected: bot %s %s\n", c.topic.name, c.topic.line)
		return usage
	}
	fmt.Fprintf(c.errs, "bot %s: %v\n", c.topic.name, err)
	return bad
}

// parse reads flags, which may stand before, between and after the other
// arguments, and returns those; at most most of them.
func (c *call) parse(most int) ([]string, error) {
	c.parsed = true
	var rest []string
	args := c.args
	for {
		if err := c.flags.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				return nil, err
			}
			return nil, fmt.Errorf("%w: %w", errUsage, err)
		}
		args = c.flags.Args()
		if len(args) == 0 {
			break
		}
		rest = append(rest, args[0])
		args = args[1:]
	}
	if len(rest) > most {
		return nil, fmt.Errorf("%w: %q is too much", errUsage, rest[most])
	}
	return rest, nil
}

// log writes what went wrong inside to the error output.
func (c *call) log() *slog.Logger {
	return slog.New(slog.NewTextHandler(c.errs, &slog.HandlerOptions{Level: slog.LevelWarn}))
}
