package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Group is one unit as it stands on the table.
type Group struct {
	Unit     string // its id in the pack
	Size     int    // models that it came with; 0 for as many as stand
	Models   int    // that stand
	Hurt     int    // wounds that the next model has lost
	Worn     int    // the part that this model is of, with Hurt
	Grade    string // of experience, "" for the lowest
	Statuses []string
	Parts    []int   // models that stand, of the unit's own and of each of its others; nil: see Pack.Parts
	Keep     string  // the part that its owner has fall last, "" for none
	Lost     []Loss  // what its characteristics have lost for good
	HurtNow  bool    // it lost models or wounds in this player turn
	With     []Group // who has joined it: they fall after all others, in their order
}

// Loss is so much less of a characteristic.
type Loss struct {
	Characteristic string
	By             int
}

// Facts are the facts of the table for one attack, known before any die.
type Facts struct {
	Distance      reason.Inches // 0: nobody said
	HalfRange     bool          // said without a distance
	Cover         bool          // the target is in cover
	Moved         bool          // the attackers, this turn
	Charged       bool          // the attackers, this turn
	TargetCharged bool
	InMelee       bool   // set by Compile for a weapon of melee
	Arc           string // of the target, see Arcs
	Across        string // what lies between, see Terrains
	Attacking     int    // models in range and sight, or in reach; 0 for all that stand
	Part          int    // of the attackers: 0 for the unit's own models, 1 for the first of its others
}

// scene is what conditions and effects look at: an attack (with weapon and
// target) or one unit by itself (without).
type scene struct {
	pack     *Pack
	attacker Group
	more     []Group // who attacks together with the attacker
	target   Group
	part     *Profile // of the target, while one kind of its models is looked at
	weapon   *Weapon
	facts    Facts
}

// nobody stands in where a scene has only one side.
var nobody = Unit{Profile: Profile{}}

func (s *scene) group(side Side) Group {
	if side == Target {
		return s.target
	}
	return s.attacker
}

func (s *scene) unit(side Side) *Unit {
	if u := s.pack.Unit(s.group(side).Unit); u != nil {
		return u
	}
	return &nobody
}

// halfRange holds when the distance said is at most half the weapon's range, or
// when half range was said itself.
func (s *scene) halfRange() bool {
	if s.facts.Distance == 0 || s.weapon == nil {
		return s.facts.HalfRange
	}
	return 2*s.facts.Distance <= s.weapon.Range
}

// alone is the scene of one side by itself, for what changes its own unit.
func (s *scene) alone(side Side) *scene {
	return &scene{pack: s.pack, attacker: s.group(side)}
}

// effects are those of one owner that act, in the order of the pack.
func (s *scene) effects(owner Side) []*Effect {
	named := s.named(owner)
	var acting []*Effect
	for i := range s.pack.Effects {
		e := &s.pack.Effects[i]
		if e.Owner == owner && (e.Always || slices.Contains(named, e.ID)) && allOf(e.If, s) {
			acting = append(acting, e)
		}
	}
	return acting
}

// named are the effects that a side has by its unit, its keywords, what lies on
// it and, for the attacker, its weapon.
func (s *scene) named(owner Side) []string {
	unit := s.unit(owner)
	names := slices.Clone(unit.Effects)
	for _, id := range unit.Keywords {
		names = append(names, s.pack.Keyword(id).Effects...)
	}
	for _, id := range s.group(owner).Statuses {
		if status := s.pack.Status(id); status != nil {
			names = append(names, status.Effects...)
		}
	}
	if owner == Attacker && s.weapon != nil {
		names = append(names, s.weapon.Effects...)
	}
	return names
}

// trait is a value of a side's profile with what changes it; has is false when
// the unit is without it.
func (s *scene) trait(side Side, id string) (v Value, has bool, because []reason.Reason) {
	v, has = s.profiled(side, id)
	if !has {
		return v, false, nil
	}
	for _, e := range s.changing(side) {
		c, changes := e.does.(change)
		if !changes || c.characteristic != id {
			continue
		}
		before := v.Number
		v.Number = c.number(v.Number)
		v.Need = v.Need.Better(c.by)
		v.Amount.Plus = max(0, v.Amount.Plus+c.by)
		if by := c.by; by != 0 {
			because = append(because, signed(by, e))
		} else {
			because = append(because, signed(v.Number-before, e))
		}
	}
	for _, loss := range s.group(side).Lost {
		if loss.Characteristic == id && loss.By > 0 {
			v.Number = max(0, v.Number-loss.By)
			because = append(because, reason.New("why.lost", "by", loss.By))
		}
	}
	return v, true, because
}

// changing are the effects that change values of a side: its own, and those by
// which the other side changes them.
func (s *scene) changing(side Side) []*Effect {
	all := s.alone(side).effects(Self)
	if side == Target && s.attacker.Unit != "" {
		for _, e := range s.effects(Attacker) {
			if c, ok := e.does.(change); ok && c.of == Target {
				all = append(all, e)
			}
		}
	}
	return all
}

// number is a plain number from a source: of a profile, a weapon or a power.
func (s *scene) number(from Source) (n int, name string, because []reason.Reason) {
	switch {
	case from.IsPlain:
		return from.Plain, "", nil
	case from.Measure != "":
		return max(0, int(s.facts.Distance-from.Less)) / 10, "gap", nil
	case from.Of == OfWeapon:
		return s.ofWeapon(from.From).Plus, from.From, nil
	case from.Sum != "":
		return s.sum(from), s.pack.wordsFor(from.Sum), nil
	}
	v, _, because := s.trait(from.Of, from.From)
	return v.Number, s.pack.wordsFor(from.From), because
}

// ofWeapon is a number or an amount of the weapon.
func (s *scene) ofWeapon(key string) attack.Amount {
	if s.weapon == nil {
		return attack.Amount{}
	}
	return map[string]attack.Amount{
		"attacks": s.weapon.Attacks, "damage": s.weapon.Damage,
		"strength": {Plus: s.weapon.Strength}, "piercing": {Plus: s.weapon.Piercing},
	}[key]
}

// sum adds a characteristic up over all units of a side.
func (s *scene) sum(from Source) int {
	all := append([]Group{s.attacker}, s.more...)
	if from.Of == Targets {
		all = []Group{s.target}
	}
	sum := 0
	for _, g := range all {
		v, _, _ := (&scene{pack: s.pack, attacker: g}).trait(Self, from.Sum)
		sum += v.Number
	}
	return sum
}

// amount is an amount from a source: of a profile or a weapon.
func (s *scene) amount(from Source) attack.Amount {
	if from.Of == OfWeapon {
		return s.ofWeapon(from.From)
	}
	if from.IsPlain {
		return attack.Amount{Plus: from.Plain}
	}
	v, _, _ := s.trait(from.Of, from.From)
	if c := s.pack.Characteristic(from.From); c != nil && c.Kind == Number {
		return attack.Amount{Plus: v.Number}
	}
	return v.Amount
}

// wordsFor is what people call a characteristic.
func (p *Pack) wordsFor(id string) string {
	if c := p.Characteristic(id); c != nil {
		return c.Words
	}
	return id
}

// May tells whether an effect of the unit allows something out of MayWhat.
func (p *Pack) May(g Group, what string) bool {
	s := &scene{pack: p, attacker: g}
	for _, e := range s.effects(Self) {
		if m, ok := e.does.(may); ok && m.what == what {
			return true
		}
	}
	return false
}

// Forbids gives the reasons why a unit may not do something out of MayNotWhat;
// none when it may.
func (p *Pack) Forbids(g Group, what string) []reason.Reason {
	var why []reason.Reason
	for _, id := range g.Statuses {
		status := p.Status(id)
		if status == nil {
			continue
		}
		alone := &scene{pack: p, attacker: Group{Statuses: []string{id}}}
		if alone.forbids(what) {
			why = append(why, reason.New("why.status", "name", reason.Name(status.Words)))
		}
	}
	bare := g
	bare.Statuses = nil
	if len(why) == 0 && (&scene{pack: p, attacker: bare}).forbids(what) {
		why = append(why, reason.New("why.never"))
	}
	return why
}

func (s *scene) forbids(what string) bool {
	for _, e := range s.effects(Self) {
		if m, ok := e.does.(mayNot); ok && m.what == what {
			return true
		}
	}
	return false
}
