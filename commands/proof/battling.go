package proof

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"drumhead/engine/battle"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/storage"
)

// Battling is the room of the battles of a place, and of what was offered there.
type Battling struct{}

// Battles is the room's state. It is a value; nothing in it is ever changed.
type Battles struct {
	Offers []battle.Offered // that still stand, the oldest first
	Begun  map[uint64]battle.State
	Order  []uint64 // the entries with which battles began
	packs  map[string]*rules.Pack
}

// MostOffers is how many offers may stand open in one place.
const MostOffers = 20

// MostOwnOffers is how many of them one person may have made: nobody alone can keep
// the others from offering.
const MostOwnOffers = 5

// BattlesOf finds the battles of a game.
func BattlesOf(g Game) Battles {
	b, _ := g.Rooms[Battling{}.Name()].(Battles)
	return b
}

// Newest is the battle that began last, false if there is none.
func (b Battles) Newest() (seq uint64, s battle.State, ok bool) {
	if len(b.Order) == 0 {
		return 0, s, false
	}
	seq = b.Order[len(b.Order)-1]
	return seq, b.Begun[seq], true
}

// Offer finds an offer that stands.
func (b Battles) Offer(seq uint64) (battle.Offered, bool) {
	for _, o := range b.Offers {
		if o.Seq == seq {
			return o, true
		}
	}
	return battle.Offered{}, false
}

// Name is the key of the room's state.
func (Battling) Name() string { return "battles" }

// battleCommands is every command that is played here.
var battleCommands = []string{
	battle.CommandOpen, battle.CommandDecline, battle.CommandBegin, battle.CommandOrder, battle.CommandAhead,
	battle.CommandFinish, battle.CommandPlay, battle.CommandAgree, battle.CommandDispute, battle.CommandConcede, battle.CommandPass,
	battle.CommandMore, battle.CommandLate, battle.CommandUndo, battle.CommandKeep,
}

// Owns tells whether a command is played here.
func (Battling) Owns(command string) bool { return slices.Contains(battleCommands, command) }

// Check refuses what the battle does not allow.
func (Battling) Check(g Game, c Command) (mayRoll bool, err error) {
	b := BattlesOf(g)
	do, err := battle.ParseDo(c.Name, c.Args)
	if err != nil {
		return false, err
	}
	switch do := do.(type) {
	case battle.Offer:
		return false, b.checkOffer(g, c, do)
	case battle.Decline:
		if err := beginning(g); err != nil {
			return false, err
		}
		return false, b.checkDecline(c, do)
	case battle.Begin:
		if err := beginning(g); err != nil {
			return false, err
		}
		if err := b.checkBegin(c, do); err != nil {
			return false, err
		}
	}
	s, order, err := b.asked(g, c, do)
	if err != nil {
		return false, err
	}
	return battle.Check(s, order)
}

// beginning refuses what has to wait until a roll-off is cut.
func beginning(g Game) error {
	for seq, w := range g.Waiting {
		if w.Name == battle.CommandBegin {
			return reason.Refuse("", "battle.refuse.beginning", "entry", int64(seq))
		}
	}
	return nil
}

// Decide gives the events of a command of a battle.
func (r Battling) Decide(g Game, c Command, d dice.Drawer) ([]storage.Object, error) {
	if _, err := r.Check(g, c); err != nil {
		return nil, err
	}
	events, _, err := r.Tell(g, c, d)
	if err != nil {
		return nil, err
	}
	var out []storage.Object
	for _, e := range events {
		b, err := battle.MarshalEvent(e)
		if err != nil {
			return nil, err
		}
		out = append(out, b)
	}
	return out, nil
}

// Tell is Decide with the story of each roll. An offer has neither.
func (Battling) Tell(g Game, c Command, d dice.Drawer) ([]battle.Event, []battle.Told, error) {
	do, err := battle.ParseDo(c.Name, c.Args)
	if err != nil {
		return nil, nil, err
	}
	switch do.(type) {
	case battle.Offer, battle.Decline:
		return nil, nil, nil
	}
	s, order, err := BattlesOf(g).asked(g, c, do)
	if err != nil {
		return nil, nil, err
	}
	return battle.Tell(s, order, d)
}

// Apply folds the events of an entry into its battle.
func (Battling) Apply(g Game, c Command, events []storage.Object) (any, error) {
	b := BattlesOf(g)
	do, err := battle.ParseDo(c.Name, c.Args)
	if err != nil {
		return nil, err
	}
	switch do := do.(type) {
	case battle.Offer:
		b.Offers = append(slices.Clone(b.Offers), battle.Offered{Offer: do, Seq: c.Seq, By: c.Player})
		return b, nil
	case battle.Decline:
		b.Offers = b.without(do.Offer)
		return b, nil
	}
	seq := c.Seq
	if begin, begins := do.(battle.Begin); begins {
		b.Offers = b.without(begin.Offer.Seq)
		b.Order = append(slices.Clone(b.Order), seq)
		p, err := b.pack(g, begin.Terms)
		if err != nil {
			return nil, err
		}
		if b.packs = maps.Clone(b.packs); b.packs == nil {
			b.packs = map[string]*rules.Pack{}
		}
		b.packs[begin.Terms.SHA256] = p
	} else {
		seq = battleAsked(c)
	}
	s, order, err := b.asked(g, c, do)
	if err != nil {
		return nil, err
	}
	var happened []battle.Event
	for _, o := range events {
		e, err := battle.ParseEvent(o)
		if err != nil {
			return nil, err
		}
		happened = append(happened, e)
	}
	if b.Begun = maps.Clone(b.Begun); b.Begun == nil {
		b.Begun = map[uint64]battle.State{}
	}
	b.Begun[seq] = s.Take(order, happened, c.Fell)
	return b, nil
}

// without is the offers that stand but for one.
func (b Battles) without(seq uint64) []battle.Offered {
	return slices.DeleteFunc(slices.Clone(b.Offers), func(o battle.Offered) bool { return o.Seq == seq })
}

// asked is the battle that a command is about, and the order it gives.
func (b Battles) asked(g Game, c Command, do battle.Do) (battle.State, battle.Order, error) {
	o := battle.Order{Player: c.Player, Seq: c.Seq, Do: do}
	for _, op := range c.Opened {
		o.Opened = append(o.Opened, battle.Opening{Of: op.Of, Salt: op.Salt, Value: op.Value})
	}
	if begin, begins := do.(battle.Begin); begins {
		p, err := b.pack(g, begin.Terms)
		if err != nil {
			return battle.State{}, o, err
		}
		return battle.New(p), o, nil
	}
	s, ok := b.Begun[battleAsked(c)]
	if !ok {
		return s, o, reason.Refuse("/battle open", "battle.refuse.none")
	}
	return s, o, nil
}

// battleAsked is the battle that a command's args name.
func battleAsked(c Command) uint64 {
	var a struct {
		Battle uint64 `json:"battle"`
	}
	_ = json.Unmarshal(c.Args, &a) // was read before
	return a.Battle
}

// pack finds the pinned pack of some terms.
func (b Battles) pack(g Game, t battle.Terms) (*rules.Pack, error) {
	if p, ok := b.packs[t.SHA256]; ok {
		return p, nil
	}
	text, err := g.File(t.SHA256)
	if err != nil {
		return nil, err
	}
	p, err := rules.Load(t.Pack+".toml", text)
	if err != nil {
		return nil, fmt.Errorf("proof: the pinned pack %s: %w", t.SHA256, err)
	}
	return p, nil
}

func (b Battles) checkOffer(g Game, c Command, o battle.Offer) error {
	if o.To == c.Player {
		return reason.Refuse("/battle open", "battle.refuse.self")
	}
	if len(b.Offers) >= MostOffers {
		return reason.Refuse("", "battle.refuse.offers", "most", MostOffers)
	}
	own := 0
	for _, open := range b.Offers {
		if open.By == c.Player {
			own++
		}
	}
	if own >= MostOwnOffers {
		return reason.Refuse("/battle decline", "battle.refuse.offers_own", "most", MostOwnOffers)
	}
	p, err := b.pack(g, o.Terms)
	if err != nil {
		return err
	}
	return battle.CheckTerms(p, o.Terms)
}

func (b Battles) checkDecline(c Command, d battle.Decline) error {
	o, ok := b.Offer(d.Offer)
	switch {
	case !ok:
		return reason.Refuse("", "battle.refuse.no_offer")
	case c.Player != o.By && c.Player != o.To:
		return reason.Refuse("", "battle.refuse.not_asked")
	}
	return nil
}

func (b Battles) checkBegin(c Command, begin battle.Begin) error {
	o, ok := b.Offer(begin.Offer.Seq)
	if !ok {
		return reason.Refuse("/battle open", "battle.refuse.no_offer")
	}
	if err := o.May(c.Player); err != nil {
		return err
	}
	if !o.Answers(begin) || begin.Players[1] != c.Player {
		return reason.Refuse("/battle open", "battle.refuse.terms")
	}
	return nil
}
