package commands

import (
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/reason"
)

// unitIn looks for a unit in the battles of a ledger, the newest first: what its
// owner called it there, and whether it was more than one model. Words that were
// hidden or forgotten leave what the pack calls it.
func (t atlas) unitIn(ledger string, owner chat.Person, key string) (name reason.Name, several, ok bool) {
	v, err := t.ask.ledgerView(ledger)
	if err != nil || v == nil || owner == "" {
		return "", false, false
	}
	battles := proof.BattlesOf(v.game)
	for i := len(battles.Order) - 1; i >= 0; i-- {
		seq := battles.Order[i]
		s := battles.Begun[seq]
		side := s.SideOf(v.seats[owner])
		for _, u := range s.Units {
			if u.Side != side || u.Key != key {
				continue
			}
			if s.Names, err = t.ask.unitNames(v, seq); err != nil {
				return "", false, false
			}
			return reason.Name(s.Name(u.ID)), u.Size > 1, true
		}
	}
	return "", false, false
}
