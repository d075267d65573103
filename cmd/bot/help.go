package main

import (
	"flag"
	"fmt"
	"io"
)

// help lists the subcommands, or tells of one.
func help(c *call) error {
	rest, err := c.parse(1)
	if err != nil {
		return err
	}
	for _, s := range subcommands() {
		if len(rest) == 1 && s.name == rest[0] {
			c.describe(c.out, s)
			return nil
		}
	}
	if len(rest) == 1 {
		return fmt.Errorf("%w: there is no subcommand %q", errUsage, rest[0])
	}
	fmt.Fprint(c.out, "Drumhead: battles by message with dice that anybody can check.\n\n")
	for _, s := range subcommands() {
		fmt.Fprintf(c.out, "  bot %-8s %s\n", s.name, s.sense)
	}
	fmt.Fprint(c.out, "\nFirst steps: bot demo --fast, then bot play. More on one: bot help play\n")
	return nil
}

// describe tells of one subcommand and its flags.
func (c *call) describe(w io.Writer, s subcommand) {
	fmt.Fprintf(w, "bot %s %s\n%s\n", s.name, s.line, s.sense)
	flags := c.flags
	if !c.parsed || s.name != c.topic.name {
		flags = flag.NewFlagSet(s.name, flag.ContinueOnError)
		flags.SetOutput(io.Discard)
		probe := *c
		probe.flags, probe.args, probe.topic = flags, []string{"--help"}, s
		_ = s.run(&probe) // ends at the flag with ErrHelp; only its flags are wanted
	}
	flags.VisitAll(func(f *flag.Flag) {
		fmt.Fprintf(w, "  --%-11s %s\n", f.Name, f.Usage)
	})
	if s.more != "" {
		fmt.Fprintf(w, "\n%s", s.more)
	}
}

// scriptHelp tells how standard input and the file of --script are read.
const scriptHelp = `Standard input and FILE hold a message a line:
  ann: /roll 12d6 4+        ann says it at the table
  bo #fen: /battle status   bo says it in another place
  bo @dm: /me zone UTC      bo says it to the bot alone
  ann:                      what is set in goes on with the message
    move Pikes 6
    done
  bo: 1                     bo picks the choice 1 of the newest post
  ann: (file weir.toml)     ann hands a file in
  ! wait 48h                two days pass (with --practice only)
  # a note                  is not read
A line without a name is said by --as. bot play at a terminal: /help.
`
