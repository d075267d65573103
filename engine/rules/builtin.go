package rules

import (
	"embed"
	"path"
	"sort"
	"strings"
)

//go:embed packs/*.toml
var packs embed.FS

// Builtin gives the bytes of a pack that comes with the program.
func Builtin(id string) ([]byte, bool) {
	text, err := packs.ReadFile(path.Join("packs", id+".toml"))
	return text, err == nil
}

// Builtins are the ids of the packs that come with the program, sorted.
func Builtins() []string {
	entries, err := packs.ReadDir("packs")
	if err != nil {
		return nil // cannot be: the folder is embedded
	}
	var ids []string
	for _, entry := range entries {
		ids = append(ids, strings.TrimSuffix(entry.Name(), ".toml"))
	}
	sort.Strings(ids)
	return ids
}

// LoadBuiltin loads a pack that comes with the program, nil if there is none
// of that id. A test loads each one, so that it cannot fail here.
func LoadBuiltin(id string) (*Pack, error) {
	text, ok := Builtin(id)
	if !ok {
		return nil, nil
	}
	return Load(id+".toml", text)
}
