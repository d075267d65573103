package rules

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// benchEffect is an effect that is put into a pack; %s is its kind and keys.
const benchEffect = "\n[[effect]]\nid = \"tried\"\nalways = true\n%s\n"

// tries is an effect of each kind as a pack writes it, and what it must change:
// the attack that is rolled and solved, a value of the profile, or what a unit may.
var tries = map[string]struct{ written, changes string }{
	"modify":    {"step = \"hit in melee\"\nby = 1", "attack"},
	"attacks":   {"plus = 1", "attack"},
	"reroll":    {"step = \"hit in melee\"\nwhich = \"ones\"", "attack"},
	"natural":   {"step = \"wound\"\nfrom = 6\ngives = { damage = 1 }", "attack"},
	"passes":    {"step = \"hit in melee\"", "attack"},
	"last_save": {"need = \"6+\"", "attack"},
	"save":      {"need = \"3+\"", "attack"},
	"sure":      {"", "attack"},
	"damage":    {"plus = 1", "attack"},
	"spill":     {"", "attack"},
	"ignore":    {"what = \"cover\"", "ignored"},
	"change":    {"characteristic = \"toughness\"\nby = 2", "attack"},
	"falls":     {"which = \"first\"", "falls"},
	"may":       {"what = \"move over\"", "may"},
	"may_not":   {"what = \"charge\"", "may_not"},
}

// TestEffectRegistry walks the kinds of effect: each is loaded, changes what it is
// there for, gives a reason, and has words for the page. A kind without a row here
// fails.
func TestEffectRegistry(t *testing.T) {
	if len(effectKinds) != 15 {
		t.Errorf("%d kinds of effect, 15 are written down", len(effectKinds))
	}
	plain := osier(t)
	from, at := Group{Unit: "weir-pikes", Models: 5}, Group{Unit: "fen-riders", Models: 4}
	bare, bareWhy, err := plain.Compile(from, "pike", at, Facts{})
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range effectKinds {
		try, ok := tries[k.kind]
		if !ok || k.read == nil || k.owner == "" {
			t.Errorf("%s: nobody tries it, or a part is missing", k.kind)
			continue
		}
		text := strings.Replace(benchEffect, "%s", "kind = \""+k.kind+"\"\n"+try.written, 1)
		p, err := Load("tried.toml", append(mustBuiltin(t), text...))
		if err != nil {
			t.Errorf("%s: %v", k.kind, err)
			continue
		}
		e := p.Effect("tried")
		if words := e.does.words(p); !strings.HasPrefix(words.ID, "page.effect.") {
			t.Errorf("%s has the words %q", k.kind, words.ID)
		}
		a, why, err := p.Compile(from, "pike", at, Facts{})
		if err != nil {
			t.Fatal(err)
		}
		changed := map[string]bool{
			"attack":  !reflect.DeepEqual(a, bare) && len(why) > 0 && !reflect.DeepEqual(why, bareWhy),
			"ignored": ignoresCover(t, plain) != ignoresCover(t, p),
			"falls":   p.falls(from) == FallsFirst && plain.falls(from) == "",
			"may":     p.May(from, "move over") && !plain.May(from, "move over"),
			"may_not": len(p.Forbids(from, "charge")) > 0 && len(plain.Forbids(from, "charge")) == 0,
		}
		if !changed[try.changes] {
			t.Errorf("%s changes nothing", k.kind)
		}
		if try.changes == "attack" && !differs(t, a, bare) && k.kind != "spill" {
			t.Errorf("%s: dice fall by the same law as without", k.kind)
		}
		if try.changes == "attack" && !mentions(why, "tried") {
			t.Errorf("%s gives no reason", k.kind)
		}
	}
}

// ignoresCover tells whether a save is the same in cover and out of it.
func ignoresCover(t *testing.T, p *Pack) bool {
	t.Helper()
	save := func(cover bool) attack.Each {
		a := compiled(t, p, Group{Unit: "ferry-crossbows", Models: 5}, "crossbow", Group{Unit: "fen-riders", Models: 4}, Facts{Cover: cover})
		return a.Ladder.Segments[0].Save
	}
	return reflect.DeepEqual(save(true), save(false))
}

// differs tells whether two attacks have other laws.
func differs(t *testing.T, a, b attack.Attack) bool {
	t.Helper()
	one, two := crossed(t, a), crossed(t, b)
	for n := range 40 {
		if d := one.Exactly(n) - two.Exactly(n); d > 1e-9 || d < -1e-9 {
			return true
		}
	}
	return false
}

// mentions looks for a name among reasons and all that they are made of.
func mentions(all []reason.Reason, name string) bool {
	return slices.ContainsFunc(all, func(r reason.Reason) bool {
		return slices.ContainsFunc(r.Args, func(a reason.Arg) bool {
			inner, ok := a.Value.(reason.Reason)
			return a.Value == reason.Name(name) || ok && mentions([]reason.Reason{inner}, name)
		})
	})
}

// Every word for what changes in the battle is in the registry or one of the two
// that are about no unit, and each is used by a pack of the tests.
func TestConsequenceRegistry(t *testing.T) {
	if len(Consequences) != 13 {
		t.Errorf("%d consequences, 13 are written down", len(Consequences))
	}
	used := ""
	for _, seed := range loadSeeds(t) {
		used += string(seed)
	}
	for _, do := range Consequences {
		if !strings.Contains(used, "do = \""+do+"\"") {
			t.Errorf("no pack uses %q", do)
		}
	}
}
