package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"drumhead/commands/picture"
)

// maxScene is how many bytes of JSON a picture may be made from.
const maxScene = 1 << 20

// draw makes a picture of a JSON value; without a value it prints one to begin
// from.
func draw(c *call) error {
	rest, err := c.parse(3)
	if err != nil {
		return err
	}
	kinds := strings.Join(picture.Kinds(), ", ")
	switch {
	case len(rest) == 0:
		return fmt.Errorf("%w: which kind? There are %s. As in bot picture map", errUsage, kinds)
	case !slices.Contains(picture.Kinds(), rest[0]):
		return fmt.Errorf("%w: there is no kind %q; there are %s", errUsage, rest[0], kinds)
	case len(rest) == 1:
		_, err := c.out.Write(picture.Example(rest[0]))
		return err
	case len(rest) == 2:
		return fmt.Errorf("%w: where to? As in bot picture %s %s %s.png", errUsage, rest[0], rest[1], rest[0])
	}
	if ext := filepath.Ext(rest[2]); ext != ".png" && ext != ".svg" {
		return fmt.Errorf("%w: %q is no picture; expected a name that ends with .png or .svg", errUsage, rest[2])
	}
	value, err := c.value(rest[1])
	if err != nil {
		return err
	}
	s, err := picture.Read(rest[0], value)
	if err != nil {
		return err
	}
	b, err := picture.Encode(s, rest[2])
	if err != nil {
		return err
	}
	if err := os.WriteFile(rest[2], b, 0o644); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s, %d by %d: %s\n", rest[2], s.Width, s.Height, s.Alt)
	return err
}

// value reads a file of JSON, or the input for "-".
func (c *call) value(name string) ([]byte, error) {
	in := c.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, maxScene+1))
	if err == nil && len(b) > maxScene {
		return nil, fmt.Errorf("%s has more than %d bytes; expected a small JSON value, as bot picture map prints one", name, maxScene)
	}
	return b, err
}
