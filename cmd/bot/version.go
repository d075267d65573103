package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// versionNumber is the version of the program.
const versionNumber = "0.1.0"

// version says which version this is and what it was built from.
func version(c *call) error {
	if _, err := c.parse(0); err != nil {
		return err
	}
	from := ""
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				from = ", built from " + s.Value
			}
		}
	}
	_, err := fmt.Fprintf(c.out, "Drumhead %s (%s%s)\n", versionNumber, runtime.Version(), from)
	return err
}
