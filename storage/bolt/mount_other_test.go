//go:build !linux

package bolt

import "errors"

func mountTmpfs(string, string) error { return errors.New("only known for Linux") }

func unmount(string) {}
