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

// One pike at one rider, worked by hand: 4+ to hit, strength 3 against toughness 4
// wounds on 5+, a save of 4+, one point of two wounds: 1/2 * 1/3 * 1/2. Each kind
// of effect changes that as it should; of sure and spill see odd_test.go.
func TestEffectsByHand(t *testing.T) {
	for _, c := range []struct {
		effect  string
		crossed int
		chance  float64
	}{
		{"", 1, 1. / 12},
		{"kind = \"modify\"\nstep = \"hit in melee\"\nby = 1", 1, 2. / 3 * 1 / 6},
		{"kind = \"modify\"\nstep = \"hit in melee\"\nby = -5", 1, 1. / 6 * 1 / 6}, // capped at two worse: 6+
		{"kind = \"modify\"\nstep = \"save\"\nowner = \"target\"\nby = 1", 1, 1. / 6 * 1 / 3},
		{"kind = \"attacks\"\nplus = 1", 0, 121. / 144},
		{"kind = \"attacks\"\ntimes = 2", 0, 121. / 144},
		{"kind = \"attacks\"\nleast = 2", 0, 121. / 144},
		{"kind = \"reroll\"\nstep = \"hit in melee\"\nwhich = \"ones\"", 1, 7. / 12 * 1 / 6},
		{"kind = \"reroll\"\nstep = \"hit in melee\"\nwhich = \"misses\"", 1, 3. / 4 * 1 / 6},
		{"kind = \"reroll\"\nstep = \"hit in melee\"\nwhich = \"passes\"", 1, 1. / 4 * 1 / 6},
		{"kind = \"reroll\"\nstep = \"hit in melee\"\nwhich = \"one miss\"", 1, 3. / 4 * 1 / 6},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { damage = 1 }", 2, 1. / 2 * 1 / 6 * 1 / 2},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { no_save = true }", 1, 1./2*1/6*1/2 + 1./2*1/6},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { pierce = 2 }", 1, 1./2*1/6*1/2 + 1./2*1/6*5/6},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { sure = 2 }", 2, 1. / 2 * 1 / 6},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { also_sure = 1 }", 2, 1. / 2 * 1 / 6 * 1 / 2},
		{"kind = \"natural\"\nstep = \"wound\"\nfrom = 6\ngives = { extra = 1 }", 2, 1. / 2 * 1 / 6 * 1 / 4},
		{"kind = \"natural\"\nstep = \"hit in melee\"\nfrom = 6\ngives = { skip = 1 }", 1, (1./3*1/3 + 1./6) / 2},
		{"kind = \"passes\"\nstep = \"hit in melee\"", 1, 1. / 6},
		{"kind = \"last_save\"\nneed = \"6+\"", 1, 1. / 12 * 5 / 6},
		{"kind = \"save\"\nneed = \"3+\"", 1, 1. / 6 * 1 / 3},
		{"kind = \"save\"\nneed = \"5+\"", 1, 1. / 12}, // the better one is rolled
		{"kind = \"sure\"", 1, 1. / 6},
		{"kind = \"damage\"\nplus = 1", 2, 1. / 12},
		{"kind = \"damage\"\nplus = 5", 2, 1. / 12}, // what is beyond the model is lost
		{"kind = \"change\"\ncharacteristic = \"toughness\"\nby = 2", 1, 1. / 2 * 1 / 6 * 1 / 2},
		{"kind = \"change\"\ncharacteristic = \"toughness\"\ntimes = \"1/2\"", 1, 1. / 2 * 2 / 3 * 1 / 2},
		{"kind = \"change\"\ncharacteristic = \"save\"\nby = 1", 1, 1. / 6 * 1 / 3},
	} {
		text := mustBuiltin(t)
		if c.effect != "" {
			text = append(text, strings.Replace(benchEffect, "%s", c.effect, 1)...)
		}
		p, err := Load("tried.toml", text)
		if err != nil {
			t.Errorf("%s: %v", c.effect, err)
			continue
		}
		a := compiled(t, p, Group{Unit: "weir-pikes", Models: 1}, "pike", Group{Unit: "fen-riders", Models: 1}, Facts{})
		near(t, c.effect, crossed(t, a).Exactly(c.crossed), c.chance)
	}
}

// Of two last saves the better one is rolled: the Lock Captain has 6+ of his own.
func TestBetterLastSave(t *testing.T) {
	for _, c := range []struct{ need, want string }{{"5+", "5+"}, {"6+", "6+"}, {"4+", "4+"}} {
		p, err := Load("tried.toml", append(mustBuiltin(t), strings.Replace(benchEffect, "%s", "kind = \"last_save\"\nneed = \""+c.need+"\"", 1)...))
		if err != nil {
			t.Fatal(err)
		}
		captain := Group{Unit: "lock-captain", Models: 1}
		if got := compiled(t, p, Group{Unit: "weir-pikes", Models: 1}, "pike", captain, Facts{}).Ladder.Segments[0].Last.Need.String(); got != c.want {
			t.Errorf("6+ and %s: %s", c.need, got)
		}
	}
}
