package rules

import (
	"encoding/json"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"drumhead/engine/rules/source"
)

// The schema knows every key that the loader asks for and no other: what is read
// and what an editor offers cannot drift apart. The packs here use every shape,
// kind and table of the format, so that the loader asks for all of it.
func TestSchemaKnowsWhatTheLoaderAsks(t *testing.T) {
	text, err := os.ReadFile("../../docs/pack.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var schema map[string]any
	if err := json.Unmarshal(text, &schema); err != nil {
		t.Fatal(err)
	}
	asked := map[string]map[string]bool{}
	for _, seed := range loadSeeds(t) {
		root, err := source.Read("seed.toml", seed, MostBytes)
		if err != nil {
			t.Fatal(err)
		}
		newLoader(root).read()
		root.Asked(func(path string, keys []string) { note(schema, asked, path, keys) })
	}
	walk(schema, schema, "", func(where string, properties map[string]any) {
		for key := range properties {
			if !asked[where][key] {
				t.Errorf("the schema has %q in %s, for which the loader never asks", key, where)
			}
		}
		for key := range asked[where] {
			if _, has := properties[key]; !has {
				t.Errorf("the loader asks for %q in %s, which the schema has not", key, where)
			}
		}
	})
	if len(asked) < 25 {
		t.Errorf("only %d kinds of table were read: %v", len(asked), slices.Sorted(maps.Keys(asked)))
	}
}

// note follows a path of a file through the schema and notes what was asked for
// under the place in the schema where the table is described.
func note(schema map[string]any, asked map[string]map[string]bool, path string, keys []string) {
	at, where := any(schema), ""
	if path != "" {
		for _, step := range strings.Split(path, ".") {
			properties, _ := object(schema, at)["properties"].(map[string]any)
			if properties[step] == nil {
				return // a key of a profile
			}
			at = properties[step]
			where = place(schema, at, where+"."+step)
		}
	}
	if object(schema, at)["properties"] == nil {
		return
	}
	if asked[where] == nil {
		asked[where] = map[string]bool{}
	}
	for _, key := range keys {
		asked[where][key] = true
	}
}

// object is the description of a table: behind references, in a list, or the one
// of several that is a table.
func object(schema map[string]any, at any) map[string]any {
	n, _ := at.(map[string]any)
	switch {
	case n["$ref"] != nil:
		name := strings.TrimPrefix(n["$ref"].(string), "#/$defs/")
		return object(schema, schema["$defs"].(map[string]any)[name])
	case n["items"] != nil:
		return object(schema, n["items"])
	case n["anyOf"] != nil:
		for _, one := range n["anyOf"].([]any) {
			if o := object(schema, one); o["properties"] != nil {
				return o
			}
		}
	}
	return n
}

// place names a description: a definition by its name, another by its way.
func place(schema map[string]any, at any, way string) string {
	n, _ := at.(map[string]any)
	switch {
	case n["$ref"] != nil:
		return n["$ref"].(string)
	case n["items"] != nil:
		return place(schema, n["items"], way)
	case n["anyOf"] != nil:
		for _, one := range n["anyOf"].([]any) {
			if object(schema, one)["properties"] != nil {
				return place(schema, one, way)
			}
		}
	}
	return way
}

// walk sees every table that the schema describes, each definition once.
func walk(schema map[string]any, at any, where string, see func(where string, properties map[string]any)) {
	seen := map[string]bool{}
	var down func(at any, where string)
	down = func(at any, where string) {
		o := object(schema, at)
		properties, ok := o["properties"].(map[string]any)
		if !ok || seen[where] {
			return
		}
		seen[where] = true
		see(where, properties)
		for key, inner := range properties {
			down(inner, place(schema, inner, where+"."+key))
		}
	}
	down(at, where)
}
