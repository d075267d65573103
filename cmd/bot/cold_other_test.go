//go:build !linux

package main

import "testing"

// cold is what only Linux can do here.
func cold(b *testing.B, _ string) { b.Skip("only Linux can be told to forget a file") }
