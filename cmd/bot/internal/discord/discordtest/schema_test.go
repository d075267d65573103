package discordtest

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

// Bodies that Discord takes or refuses, by its OpenAPI description (repository
// discord/discord-api-spec, specs/openapi.json, 2026-07-18) and, where the two
// differ, by its documentation. The refusals show that the check can fail.
func TestBodiesAgainstTheDescription(t *testing.T) {
	if !Described() {
		t.Skip(Missing)
	}
	b := loadBodies(t)
	row := func(n int) string {
		var buttons []string
		for i := range n {
			buttons = append(buttons, fmt.Sprintf(`{"type":2,"style":2,"label":"Look","custom_id":"p.%d"}`, i))
		}
		return `{"content":"a","components":[{"type":1,"components":[` + strings.Join(buttons, ",") + `]}]}`
	}
	choices := func(n int) string {
		return `{"type":8,"data":{"choices":[` + strings.TrimSuffix(strings.Repeat(`{"name":"Pikes","value":"Pikes"},`, n), ",") + `]}}`
	}
	const (
		messages  = "POST channels/1/messages"
		callbacks = "POST interactions/1/t/callback"
		commands  = "PUT applications/1/commands"
	)
	for _, c := range []struct {
		what, where, body string
		ok                bool
	}{
		{"a message", messages, `{"content":"Riders held.","nonce":"p1","enforce_nonce":true,"allowed_mentions":{"parse":[]},"flags":4}`, true},
		{"a misspelled field", messages, `{"contnet":"a"}`, false},
		{"text of 2,000", messages, `{"content":"` + strings.Repeat("é", 2000) + `"}`, true},
		{"text of 2,001", messages, `{"content":"` + strings.Repeat("é", 2001) + `"}`, false},
		{"a nonce of 25", messages, `{"content":"a","nonce":"` + strings.Repeat("n", 25) + `"}`, true},
		{"a nonce of 26", messages, `{"content":"a","nonce":"` + strings.Repeat("n", 26) + `"}`, false},
		{"five buttons", messages, row(5), true},
		{"six buttons", messages, row(6), false},
		{"custom_id of 101", messages, strings.Replace(row(1), "p.0", strings.Repeat("p", 101), 1), false},
		{"25 choices", callbacks, choices(25), true},
		{"26 choices", callbacks, choices(26), false},
		{"an answer too long", callbacks, `{"type":4,"data":{"content":"` + strings.Repeat("a", 2001) + `"}}`, false},
		{"an unknown answer", callbacks, `{"type":99}`, false},
		{"a modal", callbacks, `{"type":9,"data":{"custom_id":"f","title":"Orders","components":[{"type":18,"label":"Orders","component":{"type":4,"custom_id":"t","style":2,"required":false}}]}}`, true},
		{"a title of 46", callbacks, `{"type":9,"data":{"custom_id":"f","title":"` + strings.Repeat("t", 46) + `","components":[{"type":18,"label":"Orders","component":{"type":4,"custom_id":"t","style":2}}]}}`, false},
		{"a thread", "POST channels/1/messages/2/threads", `{"name":"Fen","auto_archive_duration":1440}`, true},
		{"archived after 5 minutes", "POST channels/1/messages/2/threads", `{"name":"Fen","auto_archive_duration":5}`, false},
		{"commands", commands, `[{"name":"roll","description":"Roll dice","type":1,"default_member_permissions":"32"}]`, true},
		{"permissions that are no number", commands, `[{"name":"roll","description":"Roll dice","default_member_permissions":"all"}]`, false},
		{"the original answer", "PATCH webhooks/1/t/messages/@original", `{"content":"a"}`, true},
		{"nobody's path", "POST channels/1/dice", `{}`, false},
	} {
		method, path, _ := strings.Cut(c.where, " ")
		r := Request{Method: method, Path: path, Raw: []byte(c.body)}
		_ = json.Unmarshal(r.Raw, &r.Body) // a list stays nil
		if err := b.check(r); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.what, err)
		}
	}
}
