package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Consequence is what changes in the battle. Do is one of the closed set; the
// members that it names are set.
type Consequence struct {
	Do             string
	Who            string        // see Whos
	Amount         attack.Amount // cross off, lose, sure
	Characteristic string        // lose: which one is less from now on
	Each           int           // flee, drift: models or inches for each point of the excess
	Inches         reason.Inches // retreat: so far
	Status         string        // status, clear status
	What           string        // cancel: the step whose outcome does not happen; may: see MayWhat
	Table          string        // look up
	Within         reason.Inches // every unit: so near to who rolled; 0 for no limit
}

// Whos is whom a consequence may be about. "retreating" is whoever could not
// retreat, where that is what the consequence is for.
var Whos = []string{"attacker", "target", "self", "caster", "every unit", "retreating"}

// consequenceKinds is the registry: what each word reads besides who.
var consequenceKinds = []struct {
	do   string
	read func(*loader, *source.Table, *Consequence)
}{
	{"cross off", (*loader).doAmount},
	{"lose", func(l *loader, t *source.Table, c *Consequence) {
		c.Characteristic = l.name(t, "characteristic", "characteristic")
		l.fitsTrait(t, "characteristic", c.Characteristic, Number, Inches)
		l.doAmount(t, c)
	}},
	{"sure", (*loader).doAmount},
	{"flee", func(_ *loader, t *source.Table, c *Consequence) { c.Each = t.Number("each", 1, MostModels) }},
	{"retreat", func(l *loader, t *source.Table, c *Consequence) { c.Inches = l.inches(t, "inches") }},
	{"rout", func(*loader, *source.Table, *Consequence) {}},
	{"status", func(l *loader, t *source.Table, c *Consequence) { c.Status = l.name(t, "status", "status") }},
	{"clear status", func(l *loader, t *source.Table, c *Consequence) { c.Status = l.name(t, "status", "status") }},
	{"repair", func(*loader, *source.Table, *Consequence) {}},
	{"drift", func(_ *loader, t *source.Table, c *Consequence) { c.Each = t.Number("each", 1, MostInches) }},
	{"may", func(_ *loader, t *source.Table, c *Consequence) { c.What = t.OneOf("what", MayThen) }},
}

// MayThen is what a consequence may allow.
var MayThen = []string{"follow up"}

// Consequences are the words for what changes. Two of them are about no unit.
var Consequences = append(consequenceWords(), "cancel", "look up")

func consequenceWords() []string {
	var words []string
	for _, k := range consequenceKinds {
		words = append(words, k.do)
	}
	return words
}

func (l *loader) doAmount(t *source.Table, c *Consequence) { c.Amount = l.amount(t, "amount") }

// consequence reads a table such as { do = "sure", amount = "d3", who = "caster" }.
func (l *loader) consequence(t *source.Table) Consequence {
	c := Consequence{Do: t.OneOf("do", Consequences)}
	switch c.Do {
	case "":
		return c
	case "cancel":
		c.What = l.name(t, "what", "step")
	case "look up":
		c.Table = l.name(t, "table", "table")
	}
	for _, k := range consequenceKinds {
		if k.do == c.Do {
			k.read(l, t, &c)
			c.Who = t.OneOf("who", Whos)
		}
	}
	if t.Has("within") {
		c.Within = l.inches(t, "within")
	}
	t.Close()
	return c
}

func (l *loader) consequences(t *source.Table, key string) []Consequence {
	var all []Consequence
	for _, inner := range t.Rows(key) {
		all = append(all, l.consequence(inner))
	}
	return all
}
