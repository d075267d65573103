package commands

import (
	"strings"
	"testing"
)

// Who has a role that organises is an organiser in that community, and in no other;
// only an organiser gives or takes that.
func TestRolesOrganise(t *testing.T) {
	tb := newTable(t)
	say := func(name, text string, roles ...string) string {
		t.Helper()
		tb.line++
		m := tb.message(name, "#fen", text)
		m.Roles = roles
		return tb.handle(m)
	}
	must := func(what, got, want string) {
		t.Helper()
		if !strings.Contains(got, want) {
			t.Errorf("%s: %s", what, got)
		}
	}
	must("a stranger", say("Dee", "/settings roles test:7 Stewards", "test:7"), "Only an organiser")
	must("no role", say("Cy", "/settings roles Stewards"), "no role")
	must("nobody yet", say("Dee", "/settings roles"), "no role does besides")
	must("one", say("Cy", "/settings roles test:7 Stewards of *Osier*"), "Stewards of *Osier*")
	if got := say("Cy", "/settings roles test:7 Stewards of *Osier*"); strings.Count(got, "Stewards") != 1 {
		t.Errorf("chosen twice: %s", got)
	}
	must("another role", say("Dee", "/settings dice sealed", "test:8"), "Only an organiser")
	if got := say("Dee", "/settings dice sealed", "test:8", "test:7"); strings.Contains(got, "organiser") {
		t.Errorf("with the role: %s", got)
	}
	tb.desk = newTableOn(t, tb.store).desk
	must("after a start", say("Dee", "/settings roles test:8 Wardens", "test:7"), "Wardens")
	m := tb.message("Dee", "#else", "/settings dice sealed")
	m.Roles = []string{"test:7"}
	must("in another community", tb.in("test:other", m), "Only an organiser")
	for i := range MostRoles {
		say("Cy", "/settings roles test:1"+strings.Repeat("0", i)+" Role")
	}
	must("too many", say("Cy", "/settings roles test:2 More"), "no more can")
	must("none", say("Cy", "/settings roles none"), "no role does besides")
	must("taken away", say("Dee", "/settings dice sealed", "test:7"), "Only an organiser")
}
