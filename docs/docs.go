// Package docs carries the pages that the program prints.
package docs

import _ "embed"

// PlaySchema is the JSON Schema of one line of `bot play --json`.
//
//go:embed play.schema.json
var PlaySchema string

// PackSchema is the JSON Schema of a rules pack.
//
//go:embed pack.schema.json
var PackSchema string
