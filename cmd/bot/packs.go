package main

import (
	"log/slog"
	"path/filepath"
	"slices"

	"drumhead/engine/rules"
)

// packsDir is the folder of a data directory with packs of one's own.
const packsDir = "packs"

// mostPacks is how many packs of one's own are read.
const mostPacks = 40

func (d directory) packs() string { return filepath.Join(d.path, packsDir) }

// ownPacks reads the packs of one's own, by the names of their files. One that has
// a fault, or the id of another, is left out and said so in the log: the bot
// starts all the same.
func (d directory) ownPacks(log *slog.Logger) [][]byte {
	names, err := filepath.Glob(filepath.Join(d.packs(), "*.toml"))
	if err != nil {
		return nil
	}
	slices.Sort(names)
	taken := rules.Builtins()
	var own [][]byte
	for _, name := range names {
		if len(own) == mostPacks {
			log.Warn("there are more packs than are read; the rest is left out", "folder", d.packs(), "most", mostPacks)
			break
		}
		text, err := readPack(name)
		if err != nil {
			log.Warn("a pack cannot be read and is left out", "file", name, "error", err)
			continue
		}
		p, err := rules.Load(filepath.Base(name), text)
		switch {
		case err != nil:
			log.Warn("a pack is not good and is left out; bot pack check FILE says what is wrong", "file", name)
		case slices.Contains(taken, p.ID):
			log.Warn("a pack has the id of another and is left out; give it one of its own", "file", name, "id", p.ID)
		default:
			own, taken = append(own, text), append(taken, p.ID)
		}
	}
	return own
}
