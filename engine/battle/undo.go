package battle

import (
	"drumhead/engine/dice"
	"drumhead/engine/reason"
)

// Undo asks the other side to take back a command of this turn or the last, from
// its order Part on (0: all of it), and everything after it; or agrees when the
// other has asked for just that. What nobody learnt anything from is taken back at
// once. Said stands for words, which stay outside.
type Undo struct {
	Battle uint64 `json:"battle"`
	Of     uint64 `json:"of"`
	Part   int    `json:"part,omitempty"`
	Said   string `json:"said,omitempty"`
}

// Keep lets stand what the other asks to undo, or takes one's own request back.
type Keep struct {
	Battle uint64 `json:"battle"`
}

// Their names in entries.
const (
	CommandUndo = "battle.undo"
	CommandKeep = "battle.keep"
)

// Command names the command as entries do.
func (Undo) Command() string { return CommandUndo }

// Command names the command as entries do.
func (Keep) Command() string { return CommandKeep }

// Plea is a request to undo that the other side has not answered.
type Plea struct {
	By   int
	Of   uint64
	Part int
}

// checkUndo refuses what is too long ago, was never done, or is asked already.
func checkUndo(s State, o Order, u Undo) error {
	side, err := seated(s, o)
	switch {
	case err != nil:
		return err
	case u.Said != "" && !isHash(u.Said):
		return refuse("battle.refuse.said")
	}
	i := s.stepOf(u.Of)
	if i < 0 {
		return refuse("battle.refuse.undo_far", "entry", int64(u.Of))
	}
	if n := s.Past[i].Orders(); u.Part == 1 || u.Part < 0 || u.Part > n {
		return refuse("battle.refuse.undo_part", "entry", int64(u.Of), "part", u.Part, "n", n)
	}
	switch asked := s.Asked; {
	case asked == nil || asked.By == side && (asked.Of != u.Of || asked.Part != u.Part):
	case asked.By == side:
		return reason.Refuse("/battle keep", "battle.refuse.undo_asked", "player", reason.Person(s.Players[Other(side)]))
	case asked.Of != u.Of || asked.Part != u.Part:
		return reason.Refuse("/battle keep", "battle.refuse.undo_first", "player", reason.Person(s.Players[asked.By]), "entry", int64(asked.Of))
	}
	return nil
}

// checkKeep refuses to answer what nobody asked.
func checkKeep(s State, o Order) error {
	switch side := s.SideOf(o.Player); {
	case s.Stage == Unborn:
		return refuse("battle.refuse.none")
	case side == Nobody:
		return refuse("battle.refuse.stranger", "players", s.people())
	case s.Asked == nil:
		return reason.Refuse("/battle status", "battle.refuse.undo_none")
	}
	return nil
}

// undo asks, or takes back what both want taken back, or what is free.
func (r *run) undo(u Undo) {
	side := r.state.SideOf(r.order.Player)
	agreed, free := r.state.Asked != nil && r.state.Asked.By != side, r.state.free(u.Of, side)
	if !agreed && !free {
		r.emit(&UndoAsked{By: side, Of: u.Of, Part: u.Part})
		return
	}
	for _, e := range r.state.undoing(u.Of, u.Part, free) {
		r.emit(e)
	}
}

// Undoing is the battle as it would be with a command taken back. The command is
// one that Check lets be undone.
func (s State) Undoing(of uint64, part int) State { return s.Fold(s.undoing(of, part, false)) }

// undoing takes everything back from a command on, and then lets the orders of it
// happen again that stand.
func (s State) undoing(of uint64, part int, free bool) []Event {
	i := s.stepOf(of)
	undone := &Undone{Of: of, Part: part, Free: free}
	var stand []Event
	for n, step := range s.Past[i:] {
		first := 1
		if n == 0 && part > 0 {
			first = part
			stand, _ = step.upTo(part - 1)
		}
		undone.Again = append(undone.Again, step.again(first)...)
	}
	return append([]Event{undone}, stand...)
}

// upTo plays the first orders of a step once more on the dice that fell: what
// happened, and how many dice that took.
func (p Step) upTo(orders int) ([]Event, int) {
	sheet, ok := p.Order.Do.(Sheet)
	if !ok || orders < 1 {
		return nil, 0
	}
	sheet.Orders = sheet.Orders[:orders]
	o := p.Order
	o.Do = sheet
	shown := &counted{Drawer: dice.NewShown(p.Fell)}
	r := &run{state: p.Before.own(), order: o, drawer: shown, openings: openings(*p.Before, o.Opened)}
	r.withdraw()
	r.sheet(sheet.Orders)
	return r.events, shown.n
}

// counted counts the dice that are drawn from it.
type counted struct {
	dice.Drawer
	n int
}

// Draw draws a die.
func (c *counted) Draw(sides int) int {
	c.n++
	return c.Drawer.Draw(sides)
}

// again lists the orders of a step from one on whose dice stand again: each by
// itself, and the whole sheet. Where no die fell there is nothing to stand.
func (p Step) again(first int) []Redone {
	if !p.rolled() {
		return nil
	}
	var out []Redone
	n := p.Orders()
	if first == 1 && n != 1 {
		out = append(out, Redone{Of: p.Order.Seq})
	}
	for line := first; line <= n; line++ {
		_, before := p.upTo(line - 1)
		out = append(out, Redone{Of: p.Order.Seq, Line: line, After: before})
	}
	return out
}
