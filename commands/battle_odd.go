package commands

import (
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/dice"
)

// oddOrder says how likely it was that so many attacks of an order came through
// to the saves, or that so few did: of the part asked for, else of the first
// attack of the entry, given how many attacks there were. An attack in which one
// miss of the whole throw is re-rolled has no such line.
func oddOrder(e *explained) (chat.Line, bool) {
	c, err := proof.CommandOf(e.rec)
	if err != nil {
		return nil, false
	}
	_, story, err := proof.Battling{}.Tell(e.before, c, dice.NewShown(e.rec.Faces))
	if err != nil {
		return nil, false
	}
	several := e.part == 0 && countAttacks(story) > 1
	for _, t := range story {
		if t.What != battle.AnAttack || e.part > 0 && t.Line != e.part {
			continue
		}
		fixed := t.Attack
		fixed.Number = attack.Exactly(t.Result.Attacks)
		law, err := fixed.Through()
		if err != nil {
			return nil, false
		}
		id, n, chance := "battle.odd.more", t.Result.Through, law.AtLeast(t.Result.Through)
		if float64(n) < law.Mean() {
			id, chance = "battle.odd.fewer", law.AtMost(n)
			if n == 0 {
				id = "battle.odd.none"
			}
		}
		if several {
			id = strings.Replace(id, "odd.", "odd_of.", 1)
		}
		return e.view.speaker().Say(id, "entry", explainer{rec: e.rec.Seq}.number(t.Line), "n", n, "attacks", t.Result.Attacks, "chance", percent(chance)), true
	}
	return nil, false
}

// countAttacks is how many attacks an entry tells of.
func countAttacks(story []battle.Told) int {
	n := 0
	for _, t := range story {
		if t.What == battle.AnAttack {
			n++
		}
	}
	return n
}
