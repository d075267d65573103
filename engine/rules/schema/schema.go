// Package schema writes the JSON Schema of a pack's file, so that an editor can
// help who writes one. It is made of the same closed sets and limits as the
// loader's; the loader stays the judge.
package schema

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"drumhead/engine/rules"
)

//go:generate go test -tags goolm -run Fresh . -update

// node is a part of a schema.
type node map[string]any

// key is one key of a table: its name, what may stand there, and whether it must.
type key struct {
	name string
	is   node
	must bool
}

func must(name string, is node) key { return key{name, is, true} }
func may(name string, is node) key  { return key{name, is, false} }

// table is a table with exactly these keys.
func table(keys ...key) node {
	properties, required := node{}, []string{}
	for _, k := range keys {
		properties[k.name] = k.is
		if k.must {
			required = append(required, k.name)
		}
	}
	slices.Sort(required)
	out := node{"type": "object", "properties": properties, "additionalProperties": false}
	if len(required) > 0 {
		out["required"] = required
	}
	return out
}

func text(most int) node          { return node{"type": "string", "minLength": 1, "maxLength": most} }
func number(least, most int) node { return node{"type": "integer", "minimum": least, "maximum": most} }
func truth() node                 { return node{"type": "boolean"} }
func list(of node) node           { return node{"type": "array", "items": of} }
func oneOf(set []string) node     { return node{"type": "string", "enum": set} }
func ref(name string) node        { return node{"$ref": "#/$defs/" + name} }

// about adds a sentence that editors show.
func (n node) about(sentence string) node {
	n = maps.Clone(n)
	n["description"] = sentence
	return n
}

var (
	id     = text(rules.MostID)
	ids    = list(id)
	title  = text(rules.MostName)
	words  = text(rules.MostWords)
	inches = number(0, rules.MostInches)
	then   = list(ref("consequence"))
	value  = ref("value")
	values = list(value)
	facts  = list(ref("fact"))
)

// JSON is the schema, as it lies in docs/pack.schema.json.
func JSON() ([]byte, error) {
	whole := pack()
	whole["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	whole["title"] = "A rules pack of Drumhead"
	whole["$defs"] = definitions()
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(whole); err != nil {
		return nil, fmt.Errorf("schema: %w", err)
	}
	return out.Bytes(), nil
}

func pack() node {
	return table(
		must("pack", id.about("the id of the pack")), must("title", title), must("edition", number(1, rules.MostNumber)),
		may("about", words), must("measure", oneOf([]string{"inch"})), may("grades", ids.about("of experience, the lowest first")),
		must("characteristic", list(table(must("id", id), may("words", words), must("kind", oneOf(rules.Traits)), may("optional", truth())))),
		may("keyword", list(table(must("id", id), may("words", words), may("effects", ids)))),
		may("status", list(table(must("id", id), may("words", words), must("until", oneOf(rules.Untils)), may("effects", ids), may("each_turn", then)))),
		may("chart", list(chart())), may("result", list(table(must("id", id), may("words", words), may("then", then)))),
		may("table", list(rows())), may("step", list(step())), may("sequence", list(sequence())), may("effect", list(effect())),
		must("phase", list(table(must("id", id), must("allows", list(oneOf(rules.Orders)))))),
		must("movement", table(must("pace", id), must("spacing", inches), must("cohesion", inches),
			may("run", table(must("adds", ref("amount")), may("status", id))), may("fall_back", table(may("status", id))))),
		must("melee", table(must("strikes", oneOf(rules.Strikes)), may("by", id), may("close_up", inches))),
		may("rerolls", table(must("each_turn", number(0, 20)))), may("powers", table(must("known", number(1, 20)))),
		may("power", list(power())), must("weapon", list(weapon())), may("muster", muster()),
		must("army", list(table(must("id", id), must("title", title), must("units", ids)))),
		must("unit", list(unit())), must("scenario", list(scenario())), must("standing", standing()),
	)
}

func chart() node {
	row := table(may("from", number(-rules.MostNumber, rules.MostNumber)), may("is", oneOf(rules.Comparisons)), must("need", ref("need")))
	return table(must("id", id), may("words", words), must("by", oneOf(rules.ChartsBy)), must("first", value), must("second", value),
		may("rows", list(row)), may("columns", list(node{"type": "string", "pattern": "^[1-9][0-9]*:[1-9][0-9]*$"})), may("below", oneOf([]string{"first column"})))
}

func rows() node {
	row := table(must("on", node{"type": "string", "pattern": "^[0-9]+(-[0-9]+)?$"}), may("words", words), may("then", then), may("cells", ids))
	return table(must("id", id), may("words", words), must("dice", ref("amount")), may("columns", id), must("rows", list(row)))
}

// each are the keys of one die for each token.
func each() []key {
	return []key{
		must("die", node{"type": "string", "pattern": "^d[0-9]+$"}), must("need", value), may("better", values), may("worse", values),
		may("modifiers", ref("caps")), may("against", oneOf([]string{"model"})), may("one", oneOf([]string{"fails"})),
		may("top", oneOf([]string{"passes"})), may("goes_on", oneOf([]string{"passes", "fails"})),
	}
}

func pool() node {
	return table(append(each(), must("roller", oneOf(rules.Rollers)), must("number", value))...)
}

// step has the keys of every shape; which of them belong together the loader says.
func step() node {
	keys := []key{must("id", id), may("words", words), must("shape", oneOf(rules.Shapes)), may("roller", oneOf(rules.Rollers)), may("number", value)}
	for _, k := range each() {
		keys = append(keys, may(k.name, k.is))
	}
	total := table(must("roller", oneOf(rules.Rollers)), must("dice", ref("amount")), may("plus", values))
	shown := table(must("show", oneOf(rules.ShownFaces)), may("result", oneOf([]string{"fails"})), may("then", then))
	return table(append(keys,
		may("mine", pool()), may("theirs", pool()), may("table", id), may("shift", ref("caps")),
		may("dice", ref("amount")), may("open_ended", table(must("most", number(1, rules.MostOpen)))), may("plus", values),
		may("at_least", value), may("at_most", value), may("more_than", value), may("against", node{"anyOf": []node{oneOf([]string{"model"}), total}}),
		may("tie", oneOf(rules.Ties)), may("natural", list(shown)), may("excess", ref("consequence")), may("within", inches),
		may("then", then), may("otherwise", then))...)
}

func sequence() node {
	amount := node{"anyOf": []node{ref("amount"), value}}
	damage := table(must("amount", amount), must("crosses_off", id), may("last_save", value), may("spill", truth()), may("marks", id), may("table", id))
	attacks := table(must("from", id), must("of", oneOf(rules.Owners)), may("for_each", oneOf(rules.ForEach)))
	return table(must("id", id), must("order", oneOf(rules.Orders)), must("steps", ids), may("number", attacks), may("damage", damage),
		may("crosses_off", id), may("reach", value), may("when", facts), may("side", oneOf(rules.SideOfTest)),
		may("if_roller_dies", then), may("blocked_retreat", then))
}

// effect has the keys of every kind; which of them belong together the loader says.
func effect() node {
	var gives []key
	for _, gift := range rules.GiftWords {
		is := number(1, 20)
		if gift == "no_save" {
			is = truth()
		}
		gives = append(gives, may(gift, is))
	}
	what := node{"anyOf": []node{oneOf(slices.Concat(rules.MayWhat, rules.MayNotWhat)), id}}
	return table(must("id", id), may("words", words), must("kind", oneOf(rules.EffectKinds())), may("owner", oneOf(rules.EffectOwners)),
		may("always", truth()), may("if", facts), may("step", id), may("pool", oneOf(rules.PoolSides)), may("by", number(-20, 20)),
		may("characteristic", id), may("of", oneOf(rules.ChangeOf)), may("times", node{"anyOf": []node{number(1, 10), oneOf(rules.ShareWords)}}),
		may("plus", number(0, 20)), may("least", number(0, 20)), may("which", oneOf(slices.Concat(rules.RerollWords, rules.FallsWhen))),
		may("from", number(2, 1000)), may("gives", table(gives...)), may("what", what), may("need", ref("need")))
}

func power() node {
	return table(must("id", id), may("title", title), may("words", words), must("value", number(1, rules.MostNumber)), must("range", inches),
		may("sight", truth()), must("target", oneOf(rules.PowerTargets)), may("then", then))
}

func weapon() node {
	return table(must("id", id), may("title", title), must("type", oneOf(rules.WeaponTypes)), may("range", number(1, rules.MostInches)),
		may("attacks", ref("amount")), may("crew", number(1, rules.MostModels)), may("strength", number(0, rules.MostNumber)),
		may("piercing", number(0, 20)), may("damage", ref("amount")), may("effects", ids))
}

func muster() node {
	limit := table(must("keyword", id), may("least", number(0, rules.MostModels)), may("most", number(0, rules.MostModels)), may("for_each", number(1, rules.MostPoints)))
	return table(may("points", list(number(1, rules.MostPoints))), may("limits", list(limit)))
}

func unit() node {
	profile := node{"type": "object", "additionalProperties": node{"type": []string{"integer", "string", "array"}}}.
		about("a value for each characteristic of the pack")
	size := node{"type": "array", "items": number(1, rules.MostModels), "minItems": 2, "maxItems": 2}
	other := table(must("id", id), must("title", title), may("number", number(1, rules.MostModels)), must("profile", profile),
		may("weapons", ids), may("falls", oneOf(rules.FallsWhen)))
	return table(must("id", id), must("title", title), may("short", title), must("size", size), may("price", number(1, rules.MostPoints)),
		may("most", number(1, rules.MostModels)), must("base", number(10, 500)), may("keywords", ids), must("profile", profile),
		may("weapons", ids), may("effects", ids), may("powers", ids), may("others", list(other)))
}

func scenario() node {
	objective := table(must("id", id), must("title", title))
	return table(must("id", id), must("title", title), may("words", words), must("turns", number(1, rules.MostTurns)),
		must("holds", number(0, rules.MostNumber)), may("objective", list(objective)))
}

func standing() node {
	var keys []key
	for _, k := range rules.StandingKeys {
		keys = append(keys, key{k.Key, oneOf(k.Values), k.Must})
	}
	return table(keys...)
}

// definitions are what stands in many places.
func definitions() node {
	models := table(may("least", number(0, rules.MostModels)), may("most", number(0, rules.MostModels)))
	kinds := map[string]node{
		"not": ref("fact"), "any": facts, "has": id, "target_has": id, "status": id, "target_status": id,
		"models": models, "target_models": models, "grade": id, "within": inches, "beyond": inches,
		"arc": oneOf(rules.Arcs), "terrain_between": oneOf(rules.Terrains), "lost_share": table(must("least", oneOf(rules.ShareWords))),
	}
	var keys []key
	for _, name := range rules.FactKeys() {
		is, ok := kinds[name]
		if !ok {
			is = truth()
		}
		keys = append(keys, may(name, is))
	}
	fact := table(keys...)
	fact["minProperties"], fact["maxProperties"] = 1, 1
	return node{
		"amount": node{"type": []string{"integer", "string"}, "pattern": `^([1-9][0-9]*)?d[1-9][0-9]*(\+[1-9][0-9]*)?$|^[0-9]+$`}.
			about("a number, or dice such as \"d3\" or \"2d6+1\""),
		"need": node{"type": "string", "pattern": `^[2-7]\+$`}.about("such as \"4+\""),
		"caps": table(may("least", number(-20, 0)), may("most", number(0, 20))),
		"fact": fact,
		"value": table(may("from", id), may("of", oneOf(slices.Concat(rules.Owners, rules.Sums))), may("fixed", node{"type": []string{"integer", "string"}}),
			may("chart", id), may("measure", oneOf(rules.Measures)), may("less", inches), may("sum", id), may("count", oneOf(rules.Counts)), may("total", id)),
		"consequence": table(must("do", oneOf(rules.Consequences)), may("who", oneOf(rules.Whos)), may("amount", ref("amount")),
			may("characteristic", id), may("each", number(1, rules.MostInches)), may("inches", inches), may("status", id),
			may("what", id), may("table", id), may("within", inches)),
	}
}
