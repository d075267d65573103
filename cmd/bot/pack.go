package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"drumhead/commands"
	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

// pack checks a rules pack, or shows its rules in plain words.
func pack(c *call) error {
	rest, err := c.parse(2)
	if err != nil {
		return err
	}
	catalog, err := words.English()
	if err != nil {
		return err
	}
	say := words.Speaker{Catalog: catalog}
	switch {
	case len(rest) == 2 && rest[0] == "check":
		return c.packCheck(say, rest[1])
	case len(rest) == 2 && rest[0] == "show":
		return c.packShow(say, rest[1])
	}
	return fmt.Errorf("%w: check or show which pack? As in bot pack show osier; there are %s, or a file", errUsage, strings.Join(rules.Builtins(), ", "))
}

// packCheck says everything that is wrong with a pack, and what in it is never
// used.
func (c *call) packCheck(say words.Speaker, name string) error {
	p, err := c.pack(say, name)
	if err != nil {
		return err
	}
	for _, w := range p.Warnings {
		fmt.Fprintf(c.out, "%s:%d:%d: %s\n", filepath.Base(name), w.Line, w.Column, words.Flat(say.Reason(w.Reason)))
	}
	_, err = fmt.Fprintf(c.out, "%s\n", words.Flat(say.Say("page.good", "title", reason.Name(p.Title), "edition", p.Edition, "units", len(p.Units), "hash", p.Hash)))
	return err
}

// packShow prints the rules of a pack.
func (c *call) packShow(say words.Speaker, name string) error {
	p, err := c.pack(say, name)
	if err != nil {
		return err
	}
	_, err = c.out.Write(commands.Rulebook(say, p))
	return err
}

// pack loads a built-in pack or a file, and says what is wrong with it.
func (c *call) pack(say words.Speaker, name string) (*rules.Pack, error) {
	text, builtin := rules.Builtin(name)
	if !builtin {
		var err error
		if text, err = readPack(name); err != nil {
			return nil, err
		}
	}
	p, err := rules.Load(filepath.Base(name), text)
	var faults *source.Faults
	if !errors.As(err, &faults) {
		return p, err
	}
	for _, f := range faults.Shown() {
		fmt.Fprintf(c.errs, "%s:%d:%d: %s\n", faults.Name, f.Line, f.Column, words.Flat(say.Reason(f.Reason)))
	}
	if more := len(faults.All) - len(faults.Shown()); more > 0 {
		fmt.Fprintf(c.errs, "%s\n", words.Flat(say.Say("page.more", "n", more)))
	}
	return nil, errSaid
}

// readPack reads a pack's file, no more of it than is looked at.
func readPack(name string) ([]byte, error) {
	f, err := os.Open(name)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("there is no file %q and no pack of that name; the packs here are %s", name, strings.Join(rules.Builtins(), ", "))
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, rules.MostBytes+1))
}
