package commands

import (
	"encoding/json"
	"errors"
	"strings"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// battleGame is how a battle stands among a person's games.
const battleGame = "battle"

// wordNames is the name under which what people call the units of a battle lies
// beside its first entry: unit → name, as JSON.
const wordNames = "names"

func battleCommands() []command {
	offer := args.Param{Name: "offer", Kind: args.Entry, Optional: true, Help: "number of the offer, if there are several"}
	return []command{
		{Spec: args.Spec{Name: "battle open", Stays: true, Help: "offer one: who, points, scenario", Example: "/battle open Bo 500 Drowned Bridge",
			Params: []args.Param{{Name: "opponent", Kind: args.Person, Optional: true, Help: "whom; anybody if left out"},
				{Name: "points", Kind: args.Number, Optional: true, Help: "what a force may cost"},
				{Name: "terms", Kind: args.Words, Optional: true, Help: "scenario, with FORCE, for REGION, 3 turns, 24 hours"}}}, plan: planOpen},
		{Spec: args.Spec{Name: "battle join", Rolls: true, Help: "take an open offer", Example: "/battle join",
			Params: []args.Param{offer, {Name: "force", Kind: args.Saved, Optional: true, Help: "one of your forces; the one that fits if left out"}}}, plan: planBattleJoin},
		{Spec: args.Spec{Name: "battle decline", Help: "answer an offer with no, or take yours back", Example: "/battle decline",
			Params: []args.Param{offer}}, plan: planDecline},
		{Spec: args.Spec{Name: "battle ahead", Mode: args.Direct, Help: "settle what you would be asked", Example: "/battle ahead counter any cast",
			Params: []args.Param{{Name: "orders", Kind: args.Sheet, Optional: true, Help: "standing orders, one a line"}}}, plan: planAhead},
		{Spec: args.Spec{Name: "battle status", Mode: args.Private, Help: "who leads, whose move, till when", Example: "/battle status"}, plan: planStatus},
		{Spec: args.Spec{Name: "battle finish", Help: "propose to end it as it stands", Example: "/battle finish"}, plan: planFinish},
		{Spec: args.Spec{Name: "battle play", Help: "play on: no to the end proposed, or take yours back", Example: "/battle play"}, plan: planPlay},
		{Spec: args.Spec{Name: "battle agree", Help: "agree to the end, or to the result", Example: "/battle agree"}, plan: planAgree},
		{Spec: args.Spec{Name: "battle dispute", Help: "object to the result", Example: "/battle dispute the Ford was mine",
			Params: []args.Param{{Name: "words", Kind: args.Words, Optional: true, Help: "what about"}}}, plan: planDispute},
		{Spec: args.Spec{Name: "battle concede", Help: "give the battle away", Example: "/battle concede",
			Params: []args.Param{{Name: "sure", Kind: args.Word, Optional: true, Help: "surely, without being asked"}}}, plan: planConcede},
		{Spec: args.Spec{Name: "battle more", Help: "give who moves more time", Example: "/battle more 24",
			Params: []args.Param{{Name: "hours", Kind: args.Number, Optional: true, Help: "hours from now; a day if left out"}}}, plan: planMore},
		{Spec: args.Spec{Name: "battle pass", Rolls: true, Help: "time is up: their units hold, your move", Example: "/battle pass"}, plan: planPass},
		{Spec: args.Spec{Name: "battle report", Help: "the whole battle as a page", Example: "/battle report"}, plan: planReport},
		{Spec: args.Spec{Name: "battle time-up"}, timer: true, plan: planLate},
		{Spec: args.Spec{Name: "battle stand"}, timer: true, plan: planStand},
		{Spec: args.Spec{Name: "order", Rolls: true, OnText: "Use as orders", Help: "give orders, one a line; empty shows what may be ordered", Example: "/order move Pikes 5 north; done",
			Params: []args.Param{{Name: "lines", Kind: args.Sheet, Optional: true, Help: "orders; ';' ends a line too"}}}, plan: planOrder},
		{Spec: args.Spec{Name: "unit", Mode: args.Private, Help: "state, what it may do now", Example: "/unit Pikes",
			Params: []args.Param{{Name: "name", Kind: args.Unit, Help: "a unit of the battle"}}}, plan: planUnit},
	}
}

// field is a battle as it is shown: its state with the names that people gave,
// and the ledger that it lies in.
type field struct {
	battle.State
	ask  *ask
	view *view
	seq  uint64 // the entry it began with
}

// battle finds the battle that somebody means: the newest one here, else the
// one that they play elsewhere and that is not over yet.
func (a *ask) battle() (field, error) {
	if f, ok, err := a.battleIn(a.here); ok || err != nil {
		return f, err
	}
	var found []field
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		if g.What != battleGame {
			continue
		}
		v, err := a.there(g.Place)
		if err != nil {
			return field{}, err
		}
		f, ok, err := a.battleIn(v)
		if err != nil {
			return f, err
		}
		if ok && f.Stage != battle.Ended {
			found = append(found, f)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		if offers := proof.BattlesOf(a.here.game).Offers; len(offers) > 0 {
			return field{}, refuse("/battle status", "battle.refuse.offered", "n", len(offers))
		}
		return field{}, refuse("/battle open", "battle.refuse.none")
	}
	return field{}, refuse("/due", "battle.refuse.which", "n", len(found))
}

// battleIn is the newest battle of a ledger.
func (a *ask) battleIn(v *view) (f field, ok bool, err error) {
	seq, s, ok := proof.BattlesOf(v.game).Newest()
	if !ok {
		return f, false, nil
	}
	f = field{State: s, ask: a, view: v, seq: seq}
	f.Names, err = a.unitNames(v, seq)
	return f, true, err
}

// at is the battle on another view of its ledger.
func (f field) at(v *view) field {
	names := f.Names
	f.view, f.State = v, proof.BattlesOf(v.game).Begun[f.seq]
	f.Names = names
	return f
}

// unitNames is what people call the units; nobody's names if they were hidden.
func (a *ask) unitNames(v *view, seq uint64) (map[string]string, error) {
	list, err := a.desk.spoken(a.ctx, v, seq)
	if err != nil && !errors.Is(err, storage.ErrNone) {
		return nil, err
	}
	for _, w := range list {
		if w.Name == wordNames {
			var names map[string]string
			return names, json.Unmarshal([]byte(w.Text), &names)
		}
	}
	return nil, nil
}

func (f field) say(id string, pairs ...any) chat.Line { return f.view.speaker().Say(id, pairs...) }

// person is who plays a side.
func (f field) person(side int) chat.Person { return f.view.person(f.Players[side]) }

// player is what a side's player is called. Only mover points at somebody: one
// post, one mention.
func (f field) player(side int) chat.Span { return said(f.view.who(f.Players[side]).Text) }

// mover is the person of a side, for whom the game waits.
func (f field) mover(side int) chat.Span { return f.view.who(f.Players[side]) }

// title is what the battle is called: its scenario.
func (f field) title() reason.Name {
	if s := f.Pack.Scenario(f.Terms.Scenario); s != nil {
		return reason.Name(s.Title)
	}
	return reason.Name(f.Terms.Scenario)
}

func (f field) unit(id string) reason.Name { return reason.Name(f.Short(id)) }

// side is the side that the asker plays, or battle.Nobody.
func (f field) side() int { return f.SideOf(f.view.seats[f.ask.msg.Person]) }

// act is a command of this battle.
func (f field) act(do battle.Do) (act, error) {
	b, err := battle.MarshalDo(do)
	return act{place: f.view.place, command: do.Command(), args: json.RawMessage(b)}, err
}

// tried is an act that the rules allow now. See named for what they refuse.
func (f field) tried(do battle.Do) (act, error) {
	made, err := f.act(do)
	if err != nil {
		return made, err
	}
	o := battle.Order{Player: f.view.seats[f.ask.msg.Person], Seq: f.view.head.Size, Do: do}
	if _, err := battle.Check(f.State, o); err != nil {
		return made, err
	}
	return made, nil
}

// named puts people's names into a refusal, and the line of a sheet before it.
func (f field) named(err error) error {
	var r *reason.Refusal
	if !errors.As(err, &r) {
		return err
	}
	out := *r
	out.Line = 0
	out.Reason = f.peopled(r.Reason)
	if r.Reason.ID == "battle.refuse.pass" && r.Example == "" {
		out.Example = "/battle status" // what was tried is for the other, and later
	}
	if r.Reason.ID == "battle.refuse.turn" {
		out.Reason.Args = append(out.Reason.Args, reason.Arg{Name: "till", Value: f.ask.desk.when(f.till(), f.person(f.Side))})
	}
	if r.Line > 0 {
		out.Reason = reason.New("battle.refuse.line", "line", r.Line, "why", out.Reason)
		if r.Example != "" && !strings.HasPrefix(r.Example, "/") {
			out.Example = "/order " + r.Example
		}
	}
	return &out
}

func (f field) peopled(r reason.Reason) reason.Reason {
	out := reason.Reason{ID: r.ID}
	for _, arg := range r.Args {
		switch v := arg.Value.(type) {
		case reason.Person:
			arg.Value = f.view.who(string(v))
		case reason.Reason:
			arg.Value = f.peopled(v)
		case []reason.Reason:
			list := make([]reason.Reason, len(v))
			for i := range v {
				list[i] = f.peopled(v[i])
			}
			arg.Value = list
		}
		out.Args = append(out.Args, arg)
	}
	return out
}

// hours is the clock of one handover from now on.
func (f field) due(hours int) time.Time { return f.ask.now.Add(time.Duration(hours) * time.Hour) }

// agreeHours is how long a result waits for both before it stands by itself.
const agreeHours = 48

// board is the id of the one post of a battle that is edited in place: the
// second of the batch that it began with.
func (f field) board() chat.PostID {
	return StoredID(storage.PostID{Ledger: f.view.ledger, Seq: f.seq, N: boardPost})
}

const boardPost = 1

// boardLine says who leads, whose move it is and until when.
func (f field) boardLine(till time.Time) chat.Line {
	lead := []any{"title", f.title(), "turn", f.Turn, "turns", f.Terms.Turns,
		"one", f.player(0), "mine", f.Score[0], "two", f.player(1), "theirs", f.Score[1]}
	switch {
	case f.Stage == battle.Ended:
		return f.say("battle.board.ended", append(lead, "result", f.result())...)
	case f.Stage == battle.Over:
		return f.say("battle.board.over", lead...)
	case till.IsZero():
		return f.say("battle.board.waiting", append(lead, "mover", f.player(f.Side))...)
	}
	return f.say("battle.board.moves", append(lead, "mover", f.player(f.Side), "till", f.ask.desk.when(till, f.person(f.Side)))...)
}

// boardEdit is the board as it stands now.
func (f field) boardEdit(till time.Time) chat.Post {
	return chat.Post{Edit: f.board(), Quiet: true, Pin: true, Entry: -1, Lines: []chat.Line{f.boardLine(till)},
		Choices: choices(chat.Choice{Label: "Status", Command: "/battle status"}, chat.Choice{Label: "Report", Command: "/battle report"})}
}

// clockName is the name of the battle's one timer.
func (f field) clockName() string { return "battle." + number64(f.seq) }

// battleNames lists the units of the battle, for completion.
func battleNames(a *ask, k args.Kind) []string {
	if k != args.Unit && k != args.Scenario {
		return nil
	}
	if k == args.Scenario {
		return a.desk.scenarioNames()
	}
	f, err := a.battle()
	if err != nil {
		return nil
	}
	var out []string
	for _, u := range f.Units {
		if u.Stands() {
			out = append(out, f.Short(u.ID))
		}
	}
	return out
}

// scenarioNames lists the scenarios of every game here, for completion.
func (d *Desk) scenarioNames() []string {
	var out []string
	for _, p := range d.packs() {
		for _, s := range p.Scenarios {
			out = append(out, s.Title)
		}
	}
	return out
}
