// Package testdata carries what several tests, and the demo, share: chat
// scripts, and the files that are handed in there.
package testdata

import "embed"

// Demo is the evening that bot demo plays.
//
//go:embed chat/demo.txt
var Demo string

// Forces are the force files that chat scripts hand in, under forces/.
//
//go:embed forces/*.toml
var Forces embed.FS
