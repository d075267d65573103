package main

import (
	"fmt"

	"drumhead/docs"
)

// schema prints a JSON Schema of what the program reads or writes.
func schema(c *call) error {
	rest, err := c.parse(1)
	if err != nil {
		return err
	}
	schemas := []struct{ name, sense, text string }{
		{"play", "the posts of bot play --json, one object a line", docs.PlaySchema},
		{"pack", "a rules pack (a TOML file, read as JSON)", docs.PackSchema},
	}
	if len(rest) == 0 {
		for _, s := range schemas {
			fmt.Fprintf(c.out, "bot schema %-8s %s\n", s.name, s.sense)
		}
		return nil
	}
	for _, s := range schemas {
		if s.name == rest[0] {
			_, err := fmt.Fprint(c.out, s.text)
			return err
		}
	}
	return fmt.Errorf("%w: there is no schema %q; bot schema lists them", errUsage, rest[0])
}
