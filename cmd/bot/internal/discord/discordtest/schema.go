package discordtest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Missing is said where Discord's OpenAPI description is not there.
const Missing = "bodies are not checked against Discord's OpenAPI description: it is no part of this repository. " +
	"It is specs/openapi.json of the public repository discord/discord-api-spec; set DISCORD_OPENAPI to its path " +
	"or put it at ../shared/reference/discord-openapi.json beside the repository"

// mostText is what a message holds: 2,000 by the documentation. The description
// says 4,000, and where they differ the documentation holds.
const mostText = 2000

// bodies checks what the bot sends against the description.
type bodies struct {
	mu       sync.Mutex
	compiler *jsonschema.Compiler
	paths    [][]string // templates by their segments, most literal ones first
	schemas  map[string]*jsonschema.Schema
}

const document = "mem:///discord.json"

// Described tells whether bodies can be checked here.
func Described() bool {
	_, err := os.Stat(description())
	return err == nil
}

// description is where the OpenAPI description lies, if it does.
func description() string {
	if named := os.Getenv("DISCORD_OPENAPI"); named != "" {
		return named
	}
	dir, err := os.Getwd()
	for ; err == nil && dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "..", "shared", "reference", "discord-openapi.json")
		}
	}
	return ""
}

// described is loaded once for all servers of a test program.
var described = sync.OnceValues(func() (*bodies, error) {
	raw, err := os.ReadFile(description())
	if err != nil {
		return nil, err
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	root, _ := doc.(map[string]any)
	closeSchemas(root)
	b := &bodies{compiler: jsonschema.NewCompiler(), schemas: map[string]*jsonschema.Schema{}}
	if err := b.compiler.AddResource(document, doc); err != nil {
		return nil, err
	}
	paths, _ := root["paths"].(map[string]any)
	for p := range paths {
		b.paths = append(b.paths, strings.Split(strings.TrimPrefix(p, "/"), "/"))
	}
	slices.SortFunc(b.paths, func(x, y []string) int { return literals(y) - literals(x) })
	return b, nil
})

func loadBodies(tb testing.TB) *bodies {
	tb.Helper()
	if !Described() {
		tb.Log(Missing)
		return nil
	}
	b, err := described()
	if err != nil {
		tb.Fatalf("Discord's OpenAPI description cannot be read: %v", err)
	}
	return b
}

// closeSchemas closes every object, so that a misspelled field is refused, and
// takes bit sets as the strings that the documentation asks for.
func closeSchemas(root map[string]any) {
	components, _ := root["components"].(map[string]any)
	schemas, _ := components["schemas"].(map[string]any)
	for _, s := range schemas {
		schema, ok := s.(map[string]any)
		if !ok {
			continue
		}
		properties, has := schema["properties"].(map[string]any)
		if _, all := schema["allOf"]; has && !all {
			schema["additionalProperties"] = false
		}
		if _, has := properties["default_member_permissions"]; has {
			properties["default_member_permissions"] = map[string]any{"type": []any{"string", "null"}, "pattern": "^[0-9]+$"}
		}
	}
}

func literals(path []string) int {
	n := 0
	for _, s := range path {
		if !strings.HasPrefix(s, "{") {
			n++
		}
	}
	return n
}

// template is the path of the description that a request's path fits.
func (b *bodies) template(path string) (string, bool) {
	have := strings.Split(path, "/")
	for _, t := range b.paths {
		if len(t) == len(have) && fits(t, have) {
			return "/" + strings.Join(t, "/"), true
		}
	}
	return "", false
}

func fits(template, have []string) bool {
	for i, t := range template {
		if t != have[i] && !strings.HasPrefix(t, "{") {
			return false
		}
	}
	return true
}

// check says what is wrong with the body of a request, nil if nothing.
func (b *bodies) check(r Request) error {
	if err := checkText(r.Body); err != nil {
		return err
	}
	if b == nil || r.Raw == nil {
		return nil
	}
	t, ok := b.template(r.Path)
	if !ok {
		return fmt.Errorf("%s %s is not described", r.Method, r.Path)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	pointer := "/paths/" + escape(t) + "/" + strings.ToLower(r.Method) + "/requestBody/content/application~1json/schema"
	s, ok := b.schemas[pointer]
	if !ok {
		var err error
		if s, err = b.compiler.Compile(document + "#" + pointer); err != nil {
			return fmt.Errorf("%s %s takes no JSON body: %w", r.Method, t, err)
		}
		b.schemas[pointer] = s
	}
	body, err := jsonschema.UnmarshalJSON(bytes.NewReader(r.Raw))
	if err != nil {
		return err
	}
	return s.Validate(body)
}

// checkText checks the lengths that the description has wrong.
func checkText(body map[string]any) error {
	for _, b := range []any{any(body), body["data"]} {
		message, _ := b.(map[string]any)
		if text, _ := message["content"].(string); utf8.RuneCountInString(text) > mostText {
			return fmt.Errorf("content of %d characters, %d at the most", utf8.RuneCountInString(text), mostText)
		}
	}
	return nil
}

var escape = strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace
