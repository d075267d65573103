package commands

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
)

// endsPlea is what makes the choices under a request to undo out of date.
var endsPlea = []string{"undo_asked", "kept", "undone", "ended"}

func undoCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "battle undo", Help: "ask to take back a roll, and what came after it", Example: "/battle undo 210.3 I meant the Guns",
			Params: []args.Param{{Name: "entry", Kind: args.Entry, Optional: true, Help: "its number, as 210 or 210.3; the newest if left out"},
				{Name: "words", Kind: args.Words, Optional: true, Help: "why"}}}, plan: planUndo},
		{Spec: args.Spec{Name: "battle keep", Help: "no to an undo that was asked for, or take yours back", Example: "/battle keep"}, plan: planKeep},
	}
}

// planUndo asks to take a command of the battle back, agrees to it, or takes back
// what is free.
func planUndo(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	ends := endsPlea
	if p := a.picked; p != nil && p.choice.Once { // it offered what is free, which a later order ends
		ends = endsSheet
	}
	if late, err := f.movedOn(ends); late != nil || err != nil {
		return late, err
	}
	do := battle.Undo{Battle: f.seq}
	var named bool
	if do.Of, do.Part, named = a.values.Entry("entry"); !named {
		if len(f.Past) == 0 {
			return nil, refuse("/order", "battle.refuse.undo_nothing")
		}
		do.Of = f.Past[len(f.Past)-1].Order.Seq
	}
	if do.Part == 1 { // from its first order on is all of it
		do.Part = 0
	}
	words := a.value("words")
	if words != "" {
		if do.Said, err = a.salt("undo", words); err != nil {
			return nil, err
		}
	}
	act, err := f.tried(do)
	if err != nil {
		return nil, f.named(err)
	}
	if words != "" {
		act.words = []string{"undo"}
	}
	act.tell = func(d *done) (told, error) { return f.tellUndo(d, do, words) }
	return act1(act)
}

// planKeep lets stand what was asked to be undone.
func planKeep(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsPlea); late != nil || err != nil {
		return late, err
	}
	asked := f.Asked
	act, err := f.tried(battle.Keep{Battle: f.seq})
	if err != nil {
		return nil, f.named(err)
	}
	act.tell = func(d *done) (told, error) {
		f, id := f.at(d.after), "battle.undo.kept"
		side := f.SideOf(d.rec.Player)
		if side == asked.By {
			id = "battle.undo.withdrew"
		}
		return told{posts: []chat.Post{{Entry: int64(d.rec.Seq), Notify: []chat.Person{f.person(battle.Other(side))},
			Lines: []chat.Line{f.say(id, "player", f.player(side), "other", f.mover(battle.Other(side)), "entry", numbered(asked.Of, asked.Part))}}}}, nil
	}
	return act1(act)
}

// tellUndo tells what is asked, or what was taken back.
func (f field) tellUndo(d *done, u battle.Undo, words string) (told, error) {
	events, err := battleEvents(d.rec)
	if err != nil {
		return told{}, err
	}
	before, side := f, f.SideOf(d.rec.Player)
	f = f.at(d.after)
	slots := []any{"player", f.player(side), "other", f.mover(battle.Other(side)), "entry", numbered(u.Of, u.Part), "rest", before.since(u)}
	undone, done := events[0].(*battle.Undone)
	post := chat.Post{Entry: int64(d.rec.Seq)}
	switch {
	case !done:
		post.Lines = []chat.Line{f.say("battle.undo.asked", slots...)}
		if words != "" {
			post.Lines = append(post.Lines, f.say("battle.undo.words", "words", said(words)))
		}
		then := f
		then.State = f.Undoing(u.Of, u.Part)
		post.Lines = append(post.Lines, compact([]chat.Line{then.standAgain(before, "battle.undo.would"), then.diceAgain(before)})...)
		post.Notify = []chat.Person{f.person(battle.Other(side))}
		post.Choices = choices(f.choice("Agree", "/battle undo "+entryName(u.Of, u.Part), post.Notify), f.choice("No", "/battle keep", post.Notify))
		for i := range post.Choices {
			post.Choices[i].Size = d.after.head.Size
		}
		return told{posts: []chat.Post{post}}, nil
	case undone.Free:
		post.Lines = []chat.Line{f.say("battle.undo.free", slots...)}
		return told{posts: []chat.Post{post}}, nil
	}
	till := f.due(f.Terms.Hours)
	post.Lines = compact([]chat.Line{f.say("battle.undo.done", slots...), f.standAgain(before, "battle.undo.now"), f.diceAgain(before), f.yourMove(till)})
	post.Notify = []chat.Person{f.person(f.Side)}
	post.Choices = choices(chat.Choice{Label: "Start my turn", Command: "/order", Who: post.Notify})
	set, err := f.clock(till)
	return told{posts: []chat.Post{post, f.boardEdit(till)}, set: set}, err
}

// since says whether more than the command itself is taken back.
func (f field) since(u battle.Undo) chat.Line {
	for i, p := range f.Past {
		if p.Order.Seq == u.Of && (i+1 < len(f.Past) || u.Part > 0 && u.Part < p.Orders()) {
			return f.say("battle.undo.rest")
		}
	}
	return nil
}

// standAgain lists the units of which more stand than before; nothing if none.
func (f field) standAgain(before field, id string) chat.Line {
	var out []reason.Reason
	for _, u := range f.Units {
		if unitOf(before.State, u.ID).Left != u.Left {
			out = append(out, reason.New("battle.told.left_unit", "unit", f.unit(u.ID), "left", u.Left, "size", u.Size))
		}
	}
	if len(out) == 0 {
		return nil
	}
	return f.say(id, "units", out)
}

// diceAgain says what becomes of dice that were undone; nothing if none were.
func (f field) diceAgain(before field) chat.Line {
	if len(f.Undone) == len(before.Undone) {
		return nil
	}
	return f.say("battle.undo.dice")
}

// entryName is how the number of an entry, or of an order in it, is typed.
func entryName(seq uint64, part int) string {
	if part == 0 {
		return number64(seq)
	}
	return number64(seq) + "." + strconv.Itoa(part)
}

// numbered shows the number of an entry, or of an order in it.
func numbered(seq uint64, part int) chat.Span {
	span := number(int64(seq))
	if part > 0 {
		span.Text = "." + strconv.Itoa(part)
	}
	return span
}

// labelBack is on the choice that takes back what is free.
const labelBack = "Take back"

// takeBack offers to take a sheet back while that is free.
func (t tale) takeBack() []chat.Choice {
	past := t.after.Past
	if len(past) == 0 || past[len(past)-1].Order.Seq != t.rec.Seq || !past[len(past)-1].Free {
		return nil
	}
	back := t.after.choice(labelBack, "/battle undo "+number64(t.rec.Seq), []chat.Person{t.after.person(t.after.Side)})
	back.Once = true
	return []chat.Choice{back}
}

// restMark stands between the part of a sheet that waits for its cut and the rest.
const restMark = "\f"

// ordering makes the act of a sheet that was read. Where an order of it was undone
// the sheet falls into several entries: this is the first, and the rest follows.
func (f field) ordering(lines []battle.Line, text string) (act, error) {
	parts := f.Split(battle.Sheet{Battle: f.seq, Orders: lines})
	rest := ""
	if len(parts) > 1 {
		typed, n := written(text), len(parts[0].Orders)
		if len(typed) != len(lines) {
			return act{}, refuse("", "battle.refuse.again_alone")
		}
		text, rest = strings.Join(typed[:n], "\n"), strings.Join(typed[n:], "\n")
	}
	order, err := f.tried(parts[0])
	if err != nil {
		return order, err
	}
	if order.opened, err = f.sealedOrders(); err != nil {
		return order, err
	}
	order.memo = text
	if rest != "" {
		order.memo += restMark + rest
	}
	f.follow(&order, text, rest)
	return order, nil
}

// follow tells of a part of a sheet, and lets the rest of it come as entries of its
// own. A rest that the dice have made impossible waits, as lines of one sheet do.
func (f field) follow(order *act, text, rest string) {
	waits := false
	order.tell = func(d *done) (told, error) {
		t, err := tellOrder(d, f, written(text))
		if err != nil || rest == "" {
			return t, err
		}
		p := &t.posts[0]
		p.Choices = choices(slices.DeleteFunc(p.Choices, func(c chat.Choice) bool { return c.Label == labelBack })...)
		if waits {
			p.Lines = append(p.Lines, f.say("battle.undo.waits"))
			p.Choices = choices(append([]chat.Choice{{Label: "Go on", Command: "/order " + strings.Join(written(rest), "; "), Once: true,
				Who: []chat.Person{f.at(d.after).person(f.at(d.after).Side)}}}, p.Choices...)...)
		}
		return t, err
	}
	order.then = func(d *done) ([]act, error) {
		if rest == "" {
			return f.counted(d)
		}
		next := f.at(d.after)
		if next.Stage != battle.Playing || next.Halted != nil {
			waits = true
			return nil, nil
		}
		lines, err := battle.ParseSheet(next.State, next.Side, rest)
		var more act
		if err == nil {
			more, err = next.ordering(lines, rest)
		}
		if refusal(err) {
			waits = true
			return nil, nil
		}
		more.by = next.person(next.Side) // a timer may have brought the cut before it
		return []act{more}, err
	}
}

// undoDue is a request to undo that waits for a side's answer.
func (f field) undoDue(side int) []due {
	if f.Asked == nil || f.Asked.By == side {
		return nil
	}
	return []due{{work: 1, line: f.say("battle.due.undo", "title", f.title(), "who", f.player(f.Asked.By), "entry", numbered(f.Asked.Of, f.Asked.Part)),
		tap: f.choice("Agree", "/battle undo "+entryName(f.Asked.Of, f.Asked.Part), []chat.Person{f.person(side)})}}
}
