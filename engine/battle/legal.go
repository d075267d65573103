package battle

import (
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// view is a state as a line finds it. While a sheet is only checked, dice of its
// earlier lines are not thrown yet: unsure holds the units that may have fallen,
// come into melee or left it, loose those that may have acted already. What
// depends on that is left open; it is judged again when the line's turn comes.
type view struct {
	State
	unsure map[string]bool
	loose  map[string]bool
}

// now is a view of a state in which everything is known.
func now(s State) view { return view{State: s} }

// legal refuses a line that cannot be done at its aim.
func (v view) legal(l Line) *reason.Refusal {
	if l.Order == Done {
		return nil
	}
	u, ok := v.Unit(l.Unit)
	switch {
	case !ok:
		return refuse("battle.refuse.unit", "unit", l.Unit, "yours", v.names(v.standing(v.Side)))
	case u.Side != v.Side:
		return v.theirs(u)
	case u.Gone != "" && !v.unsure[u.ID]:
		return refuse("battle.refuse.gone", "unit", v.name(u.ID), "yours", v.names(v.standing(v.Side)))
	}
	if why := v.inOrder(l); why != nil {
		return why
	}
	if why := v.mayNot(u, l.Order); why != nil {
		return why
	}
	switch l.Order {
	case Move, Run, FallBack:
		return v.legalMove(u, l)
	case Hold:
		return v.legalHold(u, l.At)
	case Shoot:
		return v.legalShot(u, l.Aim)
	case Split:
		return v.legalSplit(u, l)
	case Cast:
		return v.legalCast(u, l)
	case Charge:
		if why := v.legalTogether(l); why != nil {
			return why
		}
		return v.legalCharge(u, l.Aim)
	case Fight:
		return v.legalFight(u, l.Aim)
	}
	return refuse("battle.refuse.verb", "said", string(l.Order))
}

// theirs refuses an order for the other side's unit.
func (v view) theirs(u Unit) *reason.Refusal {
	yours := v.standing(v.Side)
	why := refuse("battle.refuse.theirs", "unit", v.name(u.ID), "player", reason.Person(v.Players[u.Side]), "yours", v.names(yours))
	if len(yours) > 0 {
		why.Example = "hold " + v.Short(yours[0].ID)
	}
	return why
}

// inOrder refuses a line of a phase that is over. Plain hold does nothing and
// belongs everywhere.
func (v view) inOrder(l Line) *reason.Refusal {
	phase := v.Pack.PhaseOf(string(l.Order))
	if phase < 0 {
		return refuse("battle.refuse.never", "order", string(l.Order), "pack", reason.Name(v.Pack.Title))
	}
	if phase >= v.Phase || l.Order == Hold && l.At == "" {
		return nil
	}
	return refuse("battle.refuse.phase", "order", string(l.Order), "phase", v.Pack.Phases[v.Phase].ID, "phases", v.phases())
}

func (s State) phases() []string {
	var out []string
	for _, p := range s.Pack.Phases {
		out = append(out, p.ID)
	}
	return out
}

// forbids is the words by which effects forbid what a verb does.
var forbids = map[Verb]string{
	Move: "move", Run: "run", Shoot: "shoot", Split: "shoot", Charge: "charge", Cast: "cast", Fight: "fight",
}

// mayNot refuses what a rule or a status forbids the unit.
func (v view) mayNot(u Unit, verb Verb) *reason.Refusal {
	what := forbids[verb]
	if what == "" {
		return nil
	}
	why := v.Pack.Forbids(v.group(u), what)
	if len(why) == 0 {
		return nil
	}
	if why[0].ID == "why.never" {
		return reason.Refuse("hold "+v.Short(u.ID), "battle.refuse.may_never", "unit", v.name(u.ID), "what", what)
	}
	return reason.Refuse("hold "+v.Short(u.ID), "battle.refuse.may_not", "unit", v.name(u.ID), "what", what, "why", why)
}

func (v view) legalMove(u Unit, l Line) *reason.Refusal {
	switch {
	case u.Turn.Moved && !v.loose[u.ID]:
		return refuse("battle.refuse.moved", "unit", v.name(u.ID))
	case v.movedAmong(u) != "":
		return reason.Refuse("hold "+v.Short(u.ID), "battle.refuse.moved_among", "unit", v.name(v.movedAmong(u)), "host", v.name(u.ID))
	case v.unsure[u.ID]:
	case l.Order == FallBack && !u.InMelee():
		return reason.Refuse("move "+v.Short(u.ID)+" 4 in", "battle.refuse.free", "unit", v.name(u.ID))
	case l.Order != FallBack && u.Joined != "" && v.engaged(u):
		return refuse("battle.refuse.joined_engaged", "unit", v.name(u.ID), "host", v.name(u.Joined))
	case l.Order != FallBack && u.InMelee():
		return reason.Refuse("fall back "+v.Short(u.ID), "battle.refuse.engaged", "unit", v.name(u.ID), "enemies", v.named(u.With))
	}
	pace := v.pace(u)
	most := pace
	if l.Order == Run {
		most += 10 * v.Pack.Movement.RunAdds.Most()
	}
	if l.Tenths > most {
		return reason.Refuse("move "+v.Short(u.ID)+" "+inches(pace), "battle.refuse.far", "unit", v.name(u.ID),
			"said", reason.Inches(l.Tenths), "most", reason.Inches(most))
	}
	if l.Joins != "" {
		return v.legalJoin(u, l.Joins)
	}
	return v.legalObjective(l.At)
}

// movedAmong is who stands among a unit and has moved by itself in this turn, ""
// for nobody: whoever goes along cannot move twice.
func (v view) movedAmong(u Unit) string {
	for _, with := range v.joined(u.ID) {
		if with.Turn.Moved && !v.loose[with.ID] && !v.loose[u.ID] {
			return with.ID
		}
	}
	return ""
}

// legalHold refuses to be where one is not: who stands among a unit is where that
// is, and who went to one place is not at another.
func (v view) legalHold(u Unit, at string) *reason.Refusal {
	host, joined := v.Unit(u.Joined)
	switch {
	case at == "" || v.unsure[u.ID] || v.loose[u.ID]:
	case joined && host.At != at && !v.unsure[host.ID] && !v.loose[host.ID]:
		return refuse("battle.refuse.joined_hold", "unit", v.name(u.ID), "host", v.name(u.Joined))
	case u.Turn.Moved && u.At != "" && u.At != at:
		return refuse("battle.refuse.moved", "unit", v.name(u.ID))
	}
	return v.legalObjective(at)
}

// legalJoin refuses who may not join a unit, and units that nobody can join.
func (v view) legalJoin(u Unit, host string) *reason.Refusal {
	h, ok := v.Unit(host)
	switch {
	case !v.Pack.May(v.group(u), "join"):
		return refuse("battle.refuse.join", "unit", v.name(u.ID))
	case !ok || h.Side != u.Side || h.ID == u.ID || h.Joined != "" || h.Gone != "" && !v.unsure[host]:
		return refuse("battle.refuse.join_whom", "unit", v.name(u.ID), "yours", v.names(v.standing(v.Side)))
	case h.InMelee() && !v.unsure[host]:
		return refuse("battle.refuse.join_engaged", "unit", v.name(u.ID), "host", v.name(host))
	}
	return nil
}

func (v view) legalObjective(id string) *reason.Refusal {
	if id == "" || v.isObjective(id) {
		return nil
	}
	return refuse("battle.refuse.objective", "said", id, "objectives", v.objectiveNames())
}

func (s State) objectiveNames() []reason.Name {
	var out []reason.Name
	for _, o := range s.objectives() {
		out = append(out, reason.Name(o.Title))
	}
	return out
}

// named is the short names of units by their ids.
func (s State) named(ids []string) []reason.Name {
	var out []reason.Name
	for _, id := range ids {
		out = append(out, s.name(id))
	}
	return out
}

// legalEnemy refuses a target that is no enemy, or is off the table.
func (v view) legalEnemy(id string) (Unit, *reason.Refusal) {
	t, ok := v.Unit(id)
	switch {
	case !ok:
		return t, refuse("battle.refuse.target", "said", id, "enemies", v.names(v.standing(Other(v.Side))))
	case t.Side == v.Side:
		return t, refuse("battle.refuse.friend", "unit", v.name(id), "enemies", v.names(v.standing(Other(v.Side))))
	case t.Gone != "" && !v.unsure[id]:
		return t, refuse("battle.refuse.gone", "unit", v.name(id), "yours", v.names(v.standing(Other(v.Side))))
	case t.Joined != "" && !v.unsure[t.Joined]:
		return t, refuse("battle.refuse.joined", "unit", v.name(id), "host", v.name(t.Joined))
	}
	return t, nil
}

// legalShot refuses a shot that cannot be taken.
func (v view) legalShot(u Unit, a Aim) *reason.Refusal {
	if why := v.shooter(u); why != nil {
		return why
	}
	t, why := v.legalEnemy(a.At)
	if why != nil {
		return why
	}
	if why := v.inSight(u, t, a); why != nil {
		return why
	}
	if a.Tenths == 0 && v.Pack.Measures(string(Shoot)) {
		return reason.Refuse("shoot "+v.Short(u.ID)+" at "+v.Short(t.ID)+", 7.4 in", "battle.refuse.gap_shot", "unit", v.name(u.ID), "target", v.name(t.ID))
	}
	if a.Weapon != "" {
		return v.legalWeapon(u, t, a)
	}
	if len(v.weapons(u, a)) == 0 {
		return v.outOfRange(u, t, a)
	}
	return nil
}

// shooter refuses who cannot shoot at all now.
func (v view) shooter(u Unit) *reason.Refusal {
	switch {
	case len(v.shooting(u)) == 0:
		return refuse("battle.refuse.unarmed", "unit", v.name(u.ID))
	case u.Turn.Shot && !v.loose[u.ID]:
		return refuse("battle.refuse.shot", "unit", v.name(u.ID))
	case u.Joined != "" && v.engaged(u) && !v.unsure[u.Joined]:
		return refuse("battle.refuse.joined_engaged", "unit", v.name(u.ID), "host", v.name(u.Joined))
	case u.InMelee() && !v.unsure[u.ID]:
		return reason.Refuse("fight "+v.Short(u.ID), "battle.refuse.shoots_engaged", "unit", v.name(u.ID), "enemies", v.named(u.With))
	}
	return nil
}

// inSight refuses a target in melee or out of sight.
func (v view) inSight(u, t Unit, a Aim) *reason.Refusal {
	if t.InMelee() && !v.unsure[t.ID] {
		free := v.names(slices.DeleteFunc(v.standing(t.Side), Unit.InMelee))
		why := refuse("battle.refuse.melee", "unit", v.name(t.ID), "with", v.named(t.With), "free", free)
		if len(free) > 0 {
			why.Example = "shoot " + v.Short(u.ID) + " at " + string(free[0])
		}
		return why
	}
	if a.Hidden {
		return refuse("battle.refuse.sight", "unit", v.name(u.ID), "target", v.name(t.ID))
	}
	if most := u.Left; a.Models > most && !v.unsure[u.ID] {
		return refuse("battle.refuse.models", "unit", v.name(u.ID), "said", a.Models, "most", most)
	}
	return nil
}

// legalWeapon refuses a weapon that the unit has not, or that does not reach.
func (v view) legalWeapon(u, t Unit, a Aim) *reason.Refusal {
	w := v.Pack.Weapon(a.Weapon)
	if w == nil || !slices.Contains(v.shooting(u), w) || len(v.hands(u, w, 0)) == 0 && !v.unsure[u.ID] {
		return refuse("battle.refuse.weapon", "unit", v.name(u.ID), "said", a.Weapon, "weapons", v.titles(v.shooting(u)))
	}
	if !w.Reaches(reason.Inches(a.Tenths)) {
		return v.outOfRange(u, t, a)
	}
	if a.Tenths == 0 && v.Pack.Measures(string(Shoot)) {
		return reason.Refuse("shoot "+v.Short(u.ID)+" at "+v.Short(t.ID)+", 7.4 in", "battle.refuse.gap_shot", "unit", v.name(u.ID), "target", v.name(t.ID))
	}
	return nil
}

func (v view) outOfRange(u, t Unit, a Aim) *reason.Refusal {
	reach := reason.Inches(0)
	for _, w := range v.shooting(u) {
		if a.Weapon == "" || a.Weapon == w.ID {
			reach = max(reach, w.Range)
		}
	}
	return reason.Refuse("shoot "+v.Short(u.ID)+" at "+v.Short(t.ID)+", "+inches(int(reach)),
		"battle.refuse.range", "unit", v.name(u.ID), "reach", reach, "target", v.name(t.ID), "gap", reason.Inches(a.Tenths))
}

func (v view) legalSplit(u Unit, l Line) *reason.Refusal {
	if why := v.shooter(u); why != nil {
		return why
	}
	if len(l.Shares) < 2 {
		return refuse("battle.refuse.split", "unit", v.name(u.ID), "weapons", v.titles(v.shooting(u)))
	}
	seen := map[string]bool{}
	light, others := false, false
	for _, a := range l.Shares {
		if seen[a.Weapon] || a.Weapon == "" {
			return refuse("battle.refuse.weapon_twice", "unit", v.name(u.ID), "said", a.Weapon)
		}
		seen[a.Weapon] = true
		t, why := v.legalEnemy(a.At)
		if why == nil {
			why = v.inSight(u, t, a)
		}
		if why == nil {
			why = v.legalWeapon(u, t, a)
		}
		if why != nil {
			return why
		}
		if v.Pack.Weapon(a.Weapon).Light() {
			light = true
		} else {
			others = true
		}
	}
	if light && (others || len(l.Shares) > 1) && !v.shootsAll(u) {
		return refuse("battle.refuse.instead", "unit", v.name(u.ID))
	}
	return nil
}

func (v view) legalCast(u Unit, l Line) *reason.Refusal {
	p := v.Pack.Power(l.Power)
	if p == nil || !slices.Contains(v.kind(u.Kind).Powers, l.Power) {
		return refuse("battle.refuse.power", "unit", v.name(u.ID), "said", l.Power, "powers", v.powers(u))
	}
	if slices.Contains(u.Turn.Cast, l.Power) && !v.loose[u.ID] {
		return refuse("battle.refuse.cast", "unit", v.name(u.ID), "power", reason.Name(p.Title))
	}
	if why := v.legalReceiver(p, l.At); why != nil {
		return why
	}
	if reason.Inches(l.Tenths) > p.Range {
		return refuse("battle.refuse.range", "unit", reason.Name(p.Title), "reach", p.Range, "target", v.name(l.At), "gap", reason.Inches(l.Tenths))
	}
	if p.Sight && l.Hidden {
		return refuse("battle.refuse.sight", "unit", v.name(u.ID), "target", v.name(l.At))
	}
	for _, id := range l.Near {
		if n, ok := v.Unit(id); !ok || n.Gone != "" && !v.unsure[id] {
			return refuse("battle.refuse.target", "said", id, "enemies", v.names(slices.Concat(v.standing(0), v.standing(1))))
		}
	}
	if len(l.Near) > MaxNear {
		return refuse("battle.refuse.near", "most", MaxNear)
	}
	return nil
}

// legalReceiver refuses a power on the wrong side or on who is gone.
func (v view) legalReceiver(p *rules.Power, id string) *reason.Refusal {
	if p.Target == "enemy" {
		_, why := v.legalEnemy(id)
		return why
	}
	t, ok := v.Unit(id)
	switch friends := v.names(v.standing(v.Side)); {
	case !ok:
		return refuse("battle.refuse.unit", "unit", id, "yours", friends)
	case t.Side != v.Side:
		return refuse("battle.refuse.foe", "power", reason.Name(p.Title), "unit", v.name(id), "yours", friends)
	case t.Gone != "" && !v.unsure[id]:
		return refuse("battle.refuse.gone", "unit", v.name(id), "yours", friends)
	}
	return nil
}

func (v view) legalCharge(u Unit, a Aim) *reason.Refusal {
	switch {
	case u.Joined != "":
		return refuse("battle.refuse.joined_charge", "unit", v.name(u.ID), "host", v.name(u.Joined))
	case u.Turn.Charged && !v.loose[u.ID]:
		return refuse("battle.refuse.charged", "unit", v.name(u.ID))
	case u.InMelee() && !v.unsure[u.ID]:
		return reason.Refuse("fight "+v.Short(u.ID), "battle.refuse.engaged", "unit", v.name(u.ID), "enemies", v.named(u.With))
	}
	t, why := v.legalEnemy(a.At)
	if why != nil {
		return why
	}
	if v.Pack.Does(string(Charge)) != "total" {
		return v.inReach(u, t, a)
	}
	if a.Tenths == 0 {
		return reason.Refuse("charge "+v.Short(u.ID)+" at "+v.Short(t.ID)+", 7.4 in", "battle.refuse.gap", "unit", v.name(u.ID), "target", v.name(t.ID))
	}
	roll, _, err := v.Pack.Charge(v.group(u), reason.Inches(a.Tenths))
	if err != nil {
		return refuse("battle.refuse.never", "order", string(Charge), "pack", reason.Name(v.Pack.Title))
	}
	if roll.Value > mostOf(roll) {
		return refuse("battle.refuse.charge_far", "unit", v.name(u.ID), "target", v.name(t.ID),
			"gap", reason.Inches(a.Tenths), "need", roll.Value, "most", mostOf(roll))
	}
	return nil
}

// inReach refuses a charge without a roll that does not get there.
func (v view) inReach(u, t Unit, a Aim) *reason.Refusal {
	if v.Pack.Does(string(Charge)) == "" {
		return refuse("battle.refuse.never", "order", string(Charge), "pack", reason.Name(v.Pack.Title))
	}
	if reach := v.Pack.Reach(string(Charge), v.group(u)); reach > 0 && reason.Inches(a.Tenths) > reach {
		return reason.Refuse("charge "+v.Short(u.ID)+" at "+v.Short(t.ID)+", "+inches(int(reach)),
			"battle.refuse.range", "unit", v.name(u.ID), "reach", reach, "target", v.name(t.ID), "gap", reason.Inches(a.Tenths))
	}
	return nil
}

// legalTogether refuses who cannot join in a charge.
func (v view) legalTogether(l Line) *reason.Refusal {
	if len(l.Also) > 0 && v.Pack.Does(string(Charge)) != "table" {
		return reason.Refuse("charge "+v.Short(l.Unit)+" at "+v.Short(l.At), "battle.refuse.together", "pack", reason.Name(v.Pack.Title))
	}
	for i, id := range l.Also {
		one := l
		one.Unit, one.Also = id, nil
		if id == l.Unit || slices.Contains(l.Also[:i], id) {
			return refuse("battle.refuse.together_twice", "unit", v.name(id))
		}
		if why := v.legal(one); why != nil {
			return why
		}
	}
	return nil
}

func (v view) legalFight(u Unit, a Aim) *reason.Refusal {
	switch {
	case u.Turn.Struck && !v.loose[u.ID] && !v.unsure[u.ID]:
		return refuse("battle.refuse.fought", "unit", v.name(u.ID))
	case v.unsure[u.ID]:
		return nil
	case !u.InMelee():
		return refuse("battle.refuse.alone", "unit", v.name(u.ID))
	case a.At != "" && !slices.Contains(u.With, a.At):
		return refuse("battle.refuse.not_with", "unit", v.name(u.ID), "target", v.name(a.At), "enemies", v.named(u.With))
	}
	return nil
}
