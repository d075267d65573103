package commands

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// mostTale is how many lines tell what happened in a turn; with whose move it
// is, what is left and the score a post has fourteen.
const mostTale = 10

// tale is what happened in one entry of a battle, to be told.
type tale struct {
	before, after field
	rec           storage.Record
	events        []battle.Event
	start         field     // the battle as the turn began; before, where one sheet is the whole turn
	earlier       chat.Line // numbers of this turn's sheets before this one
	all           bool      // every event, however many lines it takes: for reports
}

func (t tale) say(id string, pairs ...any) chat.Line { return t.after.say(id, pairs...) }

func (t tale) has(kind string) bool {
	return slices.ContainsFunc(t.events, func(e battle.Event) bool { return e.Type() == kind })
}

// lines tells the entry: a headline if a turn ended, then each thing that
// happened. What is too long loses moves first, then blows that came to nothing,
// then what comes last.
func (t tale) lines(typed []string) []chat.Line {
	body := t.body(everything)
	for folded := foldMoves; folded <= foldMisses && len(body) > mostTale && !t.all; folded++ {
		body = t.body(folded)
	}
	if len(body) > mostTale && !t.all {
		more := len(body) - mostTale + 1
		body = append(body[:mostTale-1], t.say("battle.told.more", "n", more, "command", chat.Span{Kind: chat.Command, Text: "/explain " + number64(t.rec.Seq)}))
	}
	if t.turnEnds() {
		head := []chat.Line{t.headline()}
		if len(t.earlier) > 0 {
			head = append(head, t.say("battle.told.earlier", "entries", t.earlier))
		}
		body = append(head, body...)
	}
	return append(body, t.stopped(typed)...)
}

// turnEnds tells whether a turn was played to its end here.
func (t tale) turnEnds() bool {
	return t.has("handed") || t.has("finished") && t.rec.Command != battle.CommandAgree && t.rec.Command != battle.CommandFinish
}

// headline says in one sentence what the turn brought.
func (t tale) headline() chat.Line {
	return t.say("battle.told.turn", "player", t.before.player(t.before.Side), "turn", t.before.Turn, "what", t.brought())
}

// mostBrought is how many things a headline names.
const mostBrought = 3

// brought lists who fell and who broke since the turn began.
func (t tale) brought() any {
	var out, worn []reason.Reason
	for _, u := range t.began().Units {
		name, now := t.after.unit(u.ID), *unitOf(t.after.State, u.ID)
		switch {
		case u.Gone != "":
		case now.Gone != "" && t.out(u):
			out = append(out, reason.New("battle.told.out", "unit", name))
		case now.Gone == battle.Routed:
			out = append(out, reason.New("battle.told.routed", "unit", name))
		case now.Gone == battle.Fallen && u.Size > 1:
			out = append(out, reason.New("battle.told.destroyed", "unit", name))
		case now.Gone == battle.Fallen:
			out = append(out, reason.New("battle.told.fallen", "unit", name))
		case now.Fled > u.Fled:
			out = append(out, reason.New("battle.told.broke", "unit", name))
		case now.Fell > u.Fell:
			out = append(out, reason.New("battle.told.fell", "n", now.Fell-u.Fell, "unit", name))
		case u.Size == 1 && now.Hurt > u.Hurt:
			id, called := "battle.told.worn", t.after.Pack.WoundsCalled()
			if called == "wounds" {
				id = "battle.told.wounded"
			}
			worn = append(worn, reason.New(id, "n", now.Hurt-u.Hurt, "name", reason.Name(called), "unit", name))
		}
	}
	if out = append(out, worn...); len(out) == 0 {
		return t.say("battle.told.nothing")
	}
	return out[:min(len(out), mostBrought)]
}

// began is the battle as the turn began, or as the entry found it.
func (t tale) began() field {
	if t.start.ask != nil {
		return t.start
	}
	return t.before
}

// wholeTurn looks back over a turn that was played in several sheets, so that
// its last post sums all of it up: the one who waits reads only that.
func (t *tale) wholeTurn() {
	for _, p := range t.before.Past {
		if p.Before.Handovers != t.before.Handovers {
			continue // the turn before
		}
		if len(t.earlier) > 0 {
			t.earlier = append(t.earlier, chat.Span{Kind: chat.Plain, Text: ", "})
		} else {
			t.start = t.before
			t.start.State = *p.Before
			t.start.Names = t.before.Names
		}
		t.earlier = append(t.earlier, number(int64(p.Order.Seq)))
	}
}

func unitOf(s battle.State, id string) *battle.Unit {
	u, _ := s.Unit(id)
	return &u
}

// folding says what is counted and no longer named; each includes those before it.
type folding int

const (
	everything folding = iota
	foldMoves
	foldMisses
)

// body tells each event, but for what is folded.
func (t tale) body(folded folding) []chat.Line {
	var out []chat.Line
	moves, misses := 0, 0
	for i, e := range t.events {
		switch e := e.(type) {
		case *battle.Moved:
			if folded >= foldMoves {
				moves++
				continue
			}
		case *battle.Held:
			if folded >= foldMoves || e.At == "" && t.busy() && !t.elseHeld(e) {
				continue
			}
		case *battle.Attacked:
			if folded >= foldMisses && e.Crossed == 0 {
				misses++
				continue
			}
		}
		if line := t.event(e, i); len(line) > 0 {
			out = append(out, line)
		}
		out = append(out, t.blastUnsaid(i)...)
	}
	if line := t.assumed(); len(line) > 0 {
		out = append(out, line)
	}
	if moves > 0 {
		out = append([]chat.Line{t.say("battle.told.moves", "n", moves)}, out...)
	}
	if misses > 0 {
		out = append(out, t.say("battle.told.misses", "n", misses))
	}
	return out
}

// busy tells whether anything happened besides units that stay where they are.
func (t tale) busy() bool {
	return t.turnEnds() || slices.ContainsFunc(t.events, func(e battle.Event) bool {
		_, stays := e.(*battle.Held)
		return !stays
	})
}

// part is the number of a line of the sheet, "#210.2", where dice fell.
func (t tale) part(line int) chat.Line {
	if len(t.rec.Faces) == 0 {
		return nil
	}
	span := number(int64(t.rec.Seq))
	if line > 0 {
		span.Text = "." + strconv.Itoa(line)
	}
	return chat.Line{{Kind: chat.Plain, Text: " "}, span}
}

// event tells one event, nothing if it shows elsewhere.
func (t tale) event(e battle.Event, at int) chat.Line {
	switch e := e.(type) {
	case *battle.Moved:
		return t.moved(e)
	case *battle.Held:
		if e.At != "" {
			return t.say("battle.told.held", "unit", t.after.unit(e.Unit), "at", reason.Name(t.after.Objective(e.At)))
		}
		if t.elseHeld(e) {
			return t.say("battle.told.else_held", "unit", t.after.unit(e.Unit), "other", t.after.unit(t.ordered(e.Line).At))
		}
		return t.say("battle.told.stays", "unit", t.after.unit(e.Unit))
	case *battle.Skipped:
		return t.say("battle.told.skipped_"+string(e.Is), "unit", t.after.unit(e.Unit), "line", e.Line, "asked", t.after.unit(e.Asked))
	case *battle.Attacked:
		return t.attacked(e)
	case *battle.Charged:
		return t.charged(e)
	case *battle.CastAt:
		return t.cast(e, at)
	case *battle.Suffered:
		return t.suffered(e)
	case *battle.Broken:
		if t.out(*unitOf(t.after.State, e.Unit)) {
			return t.say("battle.told.gone_out", "unit", t.after.unit(e.Unit))
		}
		return t.say("battle.told.gone_"+e.How, "unit", t.after.unit(e.Unit))
	case *battle.Tested:
		return t.tested(e)
	case *battle.Withdrawn:
		return t.after.withdrawn(t.rec.Player, e)
	case *battle.Undone:
		if e.Free {
			return t.say("battle.undo.told_free", "entry", numbered(e.Of, e.Part))
		}
		return t.say("battle.undo.told", "entry", numbered(e.Of, e.Part))
	case *battle.Opened:
		if t.acts(at) {
			return nil // the roll that it set off says so
		}
		return t.say("battle.told.opened", "of", number(int64(e.Of)))
	}
	return t.tabled(e)
}

func (t tale) moved(e *battle.Moved) chat.Line {
	if e.Joins != "" {
		return t.say("battle.told.joined", "unit", t.after.unit(e.Unit), "host", t.after.unit(e.Joins))
	}
	id := map[battle.Verb]string{battle.Move: "battle.told.moved", battle.Run: "battle.told.ran", battle.FallBack: "battle.told.back"}[e.How]
	var how chat.Line
	switch {
	case e.Tenths > 0:
		how = append(how, t.say("battle.told.inches", "n", reason.Inches(e.Tenths))...)
	case e.Die == 0: // nobody said how far
		how = append(how, t.say("battle.told.upto", "n", reason.Inches(e.Reach))...)
	}
	if e.At != "" {
		how = append(how, t.say("battle.told.to", "at", reason.Name(t.after.Objective(e.At)))...)
	}
	if e.Die > 0 {
		how = append(how, t.say("battle.told.die", "die", e.Die, "reach", reason.Inches(e.Reach))...)
	}
	return t.say(id, "unit", t.after.unit(e.Unit), "how", how)
}

// acts tells whether what comes after an opened standing order is the roll that
// it set off.
func (t tale) acts(at int) bool {
	if at+1 >= len(t.events) {
		return false
	}
	switch e := t.events[at+1].(type) {
	case *battle.Attacked:
		return e.Again
	case *battle.Countered:
		return true
	}
	return false
}

// attacked tells what came through, step by step: hits, wounds, what fell.
func (t tale) attacked(e *battle.Attacked) chat.Line {
	id := "battle.told.shot"
	if e.How == battle.Fight {
		id = "battle.told.struck"
	}
	return t.say(id, "unit", t.striker(e.Unit, e.Part), "at", t.target(e.Line, e.Unit, e.At), "with", t.weapon(e), "steps", t.steps(e),
		"end", t.end(e.Crossed, e.Fell, e.Left), "part", t.part(e.Line))
}

// weapon names what a unit attacks with where it does so with several.
func (t tale) weapon(e *battle.Attacked) chat.Line {
	one := t.after.Pack.Weapon(e.Weapon)
	for _, other := range t.events {
		o, ok := other.(*battle.Attacked)
		if ok && one != nil && o.Line == e.Line && o.Unit == e.Unit && o.How == e.How && o.Weapon != e.Weapon {
			return t.say("battle.told.with", "weapon", reason.Name(one.Title))
		}
	}
	return nil
}

// striker names who of a unit attacks: the unit, or those of it that are unlike
// the rest.
func (t tale) striker(unit string, part int) any {
	if part == 0 {
		return t.after.unit(unit)
	}
	title := t.after.Pack.PartTitle(unitOf(t.after.State, unit).Kind, part)
	return t.say("battle.told.striker", "part", reason.Name(title), "unit", t.after.unit(unit))
}

// steps says how the attacks went on: who hit, who wounded, what was saved.
func (t tale) steps(e *battle.Attacked) chat.Line {
	if len(e.Steps) > 0 && e.Steps[0] == 0 {
		return t.say("battle.told.steps.miss", "attacks", e.Attacks)
	}
	var line chat.Line
	switch len(e.Steps) {
	case 1:
		line = t.say("battle.told.steps.one", "hit", e.Steps[0], "attacks", e.Attacks, "extra", t.extra(e))
	case 2:
		line = t.say("battle.told.steps.two", "hit", e.Steps[0], "extra", t.extra(e), "wound", e.Steps[1])
	default:
		var list []string
		for _, n := range e.Steps {
			list = append(list, strconv.Itoa(n))
		}
		line = t.say("battle.told.steps.list", "attacks", e.Attacks, "steps", strings.Join(list, ", "))
	}
	if e.Saved > 0 {
		line = append(line, t.say("battle.told.steps.saved", "n", e.Saved)...)
	}
	if e.Stopped > 0 {
		line = append(line, t.say("battle.told.steps.stopped", "n", e.Stopped)...)
	}
	return append(line, t.again(e)...)
}

func (t tale) extra(e *battle.Attacked) chat.Line {
	if e.Extra == 0 {
		return nil
	}
	return t.say("battle.told.steps.extra", "n", e.Extra)
}

func (t tale) again(e *battle.Attacked) chat.Line {
	if !e.Again {
		return nil
	}
	return t.say("battle.told.again", "player", t.after.player(unitOf(t.after.State, e.At).Side))
}

// end says what damage came to: models that fell, wounds, or nothing.
func (t tale) end(crossed, fell, left int) chat.Line {
	switch {
	case fell > 0 && left+fell == 1 && t.after.Pack.WoundsCalled() != "wounds":
		return t.say("battle.told.end.gone")
	case fell > 0:
		return t.say("battle.told.end.fell", "n", fell, "of", left+fell)
	case crossed > 0 && t.after.Pack.WoundsCalled() != "wounds":
		return t.say("battle.told.end.crossed", "n", crossed, "name", reason.Name(t.after.Pack.WoundsCalled()))
	case crossed > 0:
		return t.say("battle.told.end.wounds", "n", crossed)
	}
	return t.say("battle.told.end.nothing")
}

func (t tale) charged(e *battle.Charged) chat.Line {
	id := "battle.told.charge_short"
	if e.In {
		id = "battle.told.charge_in"
	}
	return t.say(id, "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At), "dice", t.summed(e.Dice, e.Total), "total", e.Total, "need", max(e.Need, len(e.Dice)), "part", t.part(e.Line))
}

// plus is dice as they are added up: 5+3.
func plus(dice []int) string {
	var out []string
	for _, d := range dice {
		out = append(out, strconv.Itoa(d))
	}
	return strings.Join(out, "+")
}

// cast tells a power with its counter, which is the event after it.
func (t tale) cast(e *battle.CastAt, at int) chat.Line {
	id, counter := "battle.told.cast_fails", chat.Line(nil)
	if e.Works {
		id = "battle.told.cast_works"
	}
	for _, next := range t.events[at+1:] {
		c, ok := next.(*battle.Countered)
		if _, opened := next.(*battle.Opened); opened {
			continue
		}
		if ok {
			counter = t.say("battle.told.counter", "unit", t.after.unit(c.Unit), "dice", t.summed(c.Dice, c.Total), "total", c.Total, "beat", c.Beat)
			if c.Cancels {
				id = "battle.told.cast_countered"
			}
		}
		break
	}
	mishap := chat.Line(nil)
	if e.Mishap != "" {
		mishap = t.say("battle.told.mishap_" + e.Mishap)
	}
	power := reason.Name(e.Power)
	if p := t.after.Pack.Power(e.Power); p != nil {
		power = reason.Name(p.Title)
	}
	return t.say(id, "power", power, "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At), "dice", t.summed(e.Dice, e.Total),
		"total", e.Total, "need", e.Need, "counter", counter, "mishap", mishap, "part", t.part(e.Line))
}

func (t tale) suffered(e *battle.Suffered) chat.Line {
	id := "battle.told.suffered"
	if e.Why == battle.ByTable || e.Why == battle.ByTest || e.Why == battle.ByStatus || e.Why == battle.Cornered || e.Why == battle.Beside {
		id = "battle.told.crossed"
	}
	return t.say(id, "why", t.suffering(e), "unit", t.after.unit(e.Unit), "n", e.Points, "end", t.end(e.Crossed, e.Fell, e.Left))
}

func (t tale) tested(e *battle.Tested) chat.Line {
	id := "battle.told.holds"
	if e.Fled > 0 {
		id = "battle.told.flees"
	}
	return t.say(id, "unit", t.after.unit(e.Unit), "dice", plus(e.Dice), "lost", e.Lost, "total", e.Total, "nerve", e.Nerve, "n", e.Fled, "left", e.Left)
}

// left lists the units whose numbers the entry changed.
func (t tale) left() chat.Line {
	var out []reason.Reason
	for _, u := range t.began().Units {
		now := unitOf(t.after.State, u.ID)
		if now.Left != u.Left {
			out = append(out, reason.New("battle.told.left_unit", "unit", t.after.unit(u.ID), "left", now.Left, "size", now.Size))
		} else if now.Size == 1 && now.Hurt != u.Hurt && now.Stands() {
			left, all, name := t.after.worn(*now)
			out = append(out, reason.New("battle.told.left_worn", "unit", t.after.unit(u.ID), "left", left, "size", all, "name", name))
		}
	}
	if len(out) == 0 {
		return nil
	}
	return t.say("battle.told.left", "units", out)
}

// score is the score with how the dice were fixed.
func (t tale) score() chat.Line {
	f := t.after
	line := f.say("battle.told.score", "one", f.player(0), "mine", f.Score[0], "two", f.player(1), "theirs", f.Score[1], "entry", number(int64(t.rec.Seq)))
	if grade := gradeOf(f, t.rec); grade != nil {
		line = append(line, f.say("battle.told.grade", "grade", grade)...)
	}
	return line
}

// stands says whose dice stood again, where the entry was undone before.
func (t tale) stands() chat.Line {
	if t.rec.Again == nil || len(t.rec.Faces) == 0 {
		return nil
	}
	return t.say("battle.undo.again", "grade", gradeOf(t.after, t.rec))
}

// stoppedAt tells a line that could not be done, if it is that one.
func (t tale) stoppedAt(line int) []chat.Line {
	for _, e := range t.events {
		if s, ok := e.(*battle.Stopped); ok && s.Line == line {
			return t.stopped(nil)[:1]
		}
	}
	return nil
}

// stopped says which line could not be done, and which wait.
func (t tale) stopped(typed []string) []chat.Line {
	for _, e := range t.events {
		s, ok := e.(*battle.Stopped)
		if !ok {
			continue
		}
		why := t.say("battle.stopped.other")
		unit, what := t.ordered(s.Line).Unit, s.What
		switch s.Why {
		case "battle.refuse.gone":
			if own := unitOf(t.after.State, unit); what == "" || !own.Stands() {
				what = unit
			}
			why = t.say("battle.stopped.gone", "unit", t.after.unit(what))
		case "battle.refuse.fought":
			why = t.say("battle.stopped.struck", "unit", t.after.unit(unit))
		case "battle.refuse.alone":
			why = t.say("battle.stopped.alone", "unit", t.after.unit(unit))
		case "battle.refuse.dice":
			why = t.say("battle.stopped.dice")
		case "battle.refuse.melee", "battle.refuse.engaged", "battle.refuse.shoots_engaged":
			why = t.say("battle.stopped.melee")
		}
		id := "battle.stopped.lines"
		if s.Line == 2 {
			id = "battle.stopped.second"
		}
		lines := []chat.Line{t.say(id, "line", s.Line, "before", s.Line-1, "why", why)}
		if len(s.Rest) > 0 {
			lines = append(lines, t.say("battle.stopped.rest", "n", len(s.Rest), "first", s.Rest[0], "last", s.Rest[len(s.Rest)-1]))
		}
		return lines
	}
	return nil
}
