package commands

import (
	"strings"

	"drumhead/commands/proof"
)

// spokenRenew asks for a new seal. It is too short to be taken for a word that cuts.
const spokenRenew = "renew"

// renew opens a new seal because somebody wants one: what is left of the old one is
// given up, and everybody sees how much that was. It takes over at once, so nothing is
// rolled from a seal that is not cut except what waits for a round of its own. A seal
// from which nothing was rolled yet is not renewed: no one turns them over until one
// pleases.
func (a *ask) renew() (*answer, error) {
	v := a.here
	if !v.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	if err := a.restored(v); err != nil {
		return nil, err
	}
	if err := mayDraw(v); err != nil { // the key that waits for a word would be lost
		return nil, err
	}
	if round := v.book.Uncut(); round > 0 {
		return nil, refuse("/cut", "cut.refuse.renew_uncut", "round", round)
	}
	if _, draw, _, ok := v.book.InUse(); ok && draw == 1 {
		return nil, refuse("/roll 12d6 4+", "cut.refuse.renew_unused")
	}
	left := int(v.book.Left())
	_, err := a.desk.newSeal(a.ctx, v, a.now, renewal{why: proof.Asked, source: v.source(a.msg.Source),
		told: a.say("desk.renewed_asked", "who", a.desk.who(a.msg.Person), "left", left)})
	return &answer{}, err
}

// renews tells whether somebody asks for a new seal.
func renews(said string) bool { return strings.EqualFold(said, spokenRenew) }
