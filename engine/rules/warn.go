package rules

import (
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// played notes what cannot be played: sequences that cross off unlike things,
// and a casting without powers to cast.
func (l *loader) played() {
	crossed := l.pack.crossed()
	for i := range l.pack.Sequences {
		seq := &l.pack.Sequences[i]
		if id := seq.Crossed(); id != "" && id != crossed {
			l.fault("sequence", seq.ID, "crosses_off", reason.New("pack.sequence.crossed", "sequence", seq.ID, "characteristic", id, "first", crossed))
		}
	}
	for _, e := range l.pack.Effects {
		l.stepFits(e)
	}
}

// stepFits notes effects on a step whose shape knows nothing of the kind.
func (l *loader) stepFits(e Effect) {
	step, shapes := "", []string{ShapeEach, ShapePools}
	switch does := e.does.(type) {
	case modify:
		step, shapes = does.step, []string{ShapeEach, ShapePools, ShapeTable}
	case reroll:
		step = does.step
	case natural:
		step = does.step
		if s := l.pack.Step(step); s != nil && s.Shape == ShapePools && !slices.Equal(does.ids, []string{"extra"}) {
			l.fault("effect", e.ID, "gives", reason.New("pack.effect.pool", "effect", e.ID))
		}
	case passes:
		step = does.step
	}
	if s := l.pack.Step(step); s != nil && s.Shape != "" && !slices.Contains(shapes, s.Shape) {
		l.fault("effect", e.ID, "step", reason.New("pack.effect.shape", "effect", e.ID, "kind", e.Kind, "step", step, "shape", s.Shape))
	}
}

// fault notes a fault at a key of a row that was read.
func (l *loader) fault(kind, id, key string, why reason.Reason) {
	for _, r := range l.rows[kind] {
		if r.id == id {
			r.Fault(key, why)
			return
		}
	}
}

// needless are the kinds of which each row should be named somewhere.
var needless = []string{"effect", "status", "chart", "result", "table", "step", "power", "weapon", "unit", "keyword"}

// warn notes what nothing uses and what nobody can ever do. Warnings never keep
// a pack from being loaded.
func (l *loader) warn() {
	for _, kind := range needless {
		for _, r := range l.rows[kind] {
			if l.used[kind][r.id] || kind == "effect" && l.pack.Effect(r.id).Always {
				continue
			}
			l.warning(r, reason.New("pack.warn.unused", "kind", kind, "id", r.id))
		}
	}
	for i, seq := range l.pack.Sequences {
		if l.pack.PhaseOf(seq.Order) < 0 {
			l.warning(l.rows["sequence"][i], reason.New("pack.warn.phase", "sequence", seq.ID, "order", seq.Order))
		}
	}
	for i, phase := range l.pack.Phases {
		for _, order := range phase.Allows {
			if slices.Contains([]string{"shoot", "cast", "charge", "test"}, order) && l.pack.SequenceOf(order) == nil {
				l.warning(l.rows["phase"][i], reason.New("pack.warn.order", "phase", phase.ID, "order", order))
			}
		}
	}
	slices.SortStableFunc(l.pack.Warnings, func(a, b source.Fault) int { return a.Line - b.Line })
}

func (l *loader) warning(r row, why reason.Reason) {
	l.pack.Warnings = append(l.pack.Warnings, source.Fault{Place: r.Place(), Reason: why})
}
