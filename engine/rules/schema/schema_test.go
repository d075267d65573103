package schema

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"drumhead/engine/rules"
)

var update = flag.Bool("update", false, "write docs/pack.schema.json anew")

const committed = "../../../docs/pack.schema.json"

// What lies in docs is what the sets and limits of today give.
func TestFresh(t *testing.T) {
	now, err := JSON()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(committed, now, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	then, err := os.ReadFile(committed)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(now, then) {
		t.Error("docs/pack.schema.json is not what go generate ./engine/rules/schema writes")
	}
}

// validator is another's: github.com/santhosh-tekuri/jsonschema, which passes the
// test suite of JSON Schema.
func validator(t *testing.T) *jsonschema.Schema {
	t.Helper()
	text, err := JSON()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("pack.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("pack.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	var tree any
	if err := toml.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	plain, err := json.Marshal(tree)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(plain))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(doc)
}

// Every built-in pack is valid; what the loader refuses by shape the schema
// refuses too.
func TestPacksAreValid(t *testing.T) {
	s := validator(t)
	for _, id := range rules.Builtins() {
		text, _ := rules.Builtin(id)
		if err := validate(t, s, string(text)); err != nil {
			t.Errorf("%s: %v", id, err)
		}
	}
	text, _ := rules.Builtin("osier")
	for old, bad := range map[string]string{
		"short = \"Pikes\"":           "shorte = \"Pikes\"",
		"edition = 1":                 "edition = \"one\"",
		"damage = \"d3\"":             "damage = \"3d\"",
		"size = [5, 20]":              "size = [5]",
		"kind = \"reroll\"":           "kind = \"expression\"",
		"do = \"flee\"":               "do = \"fly\"",
		"{ half_range = true }":       "{ half_range = true, moved = true }",
		"strikes = \"charger first\"": "strikes = \"at random\"",
		"{ from = 0, need = \"4+\" }": "{ from = 0, need = \"1+\" }",
		"title   = \"Osier\"":         "",
	} {
		changed := strings.Replace(string(text), old, bad, 1)
		if changed == string(text) {
			t.Errorf("osier has no %q", old)
		} else if validate(t, s, changed) == nil {
			t.Errorf("%q is valid", bad)
		}
	}
}
