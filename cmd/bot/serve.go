package main

import "errors"

// serve will connect to chat platforms. None is built into this version.
func serve(c *call) error {
	if _, err := c.parse(0); err != nil {
		return err
	}
	return errors.New("no chat platform is built into this version yet; use bot play, at a terminal or from a program with --json")
}
