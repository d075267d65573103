package attack

import "drumhead/engine/dice"

// blows is an attack that has come to its target: what is drawn from, the rung
// that is reached, and whether the single re-rolls of saves are spent.
type blows struct {
	attack             *Attack
	drawer             dice.Drawer
	rung, top          int
	saveUsed, lastUsed bool
}

// strike turns tokens into packets, one after another, until nobody is left.
func (a *Attack) strike(d dice.Drawer, tokens []token, r *Result) {
	b := blows{attack: a, drawer: d, rung: a.Ladder.Rung, top: a.Ladder.Top()}
	r.Packets = make([]Packet, 0, min(len(tokens), max(0, b.top-b.rung)))
	for i, t := range tokens {
		if b.rung >= b.top {
			r.Unneeded = len(tokens) - i
			break
		}
		r.Packets = append(r.Packets, b.packet(t))
	}
	r.Rung = b.rung
	r.Crossed = b.rung - a.Ladder.Rung
	r.Fell = a.Ladder.Fallen(b.rung) - a.Ladder.Fallen(a.Ladder.Rung)
	r.Hurt = a.Ladder.Hurt(b.rung)
}

// packet applies one token to the model that is hit first.
func (b *blows) packet(t token) Packet {
	index, left := b.attack.Ladder.At(b.rung)
	segment := b.attack.Ladder.Segments[index]
	p := Packet{Segment: index}
	if t.sure > 0 {
		p.Sure, p.Points = true, t.sure
		b.crossOff(&p, t.sure)
		return p
	}
	if b.save(&p, segment, t); p.Saved {
		return p
	}
	p.Damage, p.Points = b.attack.Damage.Amount.Roll(b.drawer)
	p.Points += t.damage
	b.lastSave(&p, segment)
	points := p.Points - p.Stopped
	if !b.attack.Damage.Spill {
		points = min(points, left)
	}
	b.crossOff(&p, points)
	return p
}

// save rolls the better save of the model, unless the token allows none.
func (b *blows) save(p *Packet, s Segment, t token) {
	save := s.save(t.piercing)
	if t.noSave || t.skip > 0 || save.Sides == 0 {
		return
	}
	if !save.NeedsDie() {
		p.Saved = save.Certain()
		return
	}
	p.Need = save.Need
	p.Save, p.SaveAgain = save.one(b.drawer, &b.saveUsed)
	face := p.Save
	if p.SaveAgain > 0 {
		face = p.SaveAgain
	}
	p.Saved = save.Passes(face)
}

// lastSave rolls one die for each point of the packet.
func (b *blows) lastSave(p *Packet, s Segment) {
	if s.Last.Sides == 0 {
		return
	}
	if !s.Last.NeedsDie() {
		if s.Last.Certain() {
			p.Stopped = p.Points
		}
		return
	}
	last := throw{step: s.Last, n: p.Points}
	last.roll(b.drawer, &b.lastUsed)
	for i := range last.faces {
		if last.passed(i) {
			p.Stopped++
		}
	}
	p.Last, p.LastAgain = last.dice, last.again
}

// crossOff moves up the ladder.
func (b *blows) crossOff(p *Packet, points int) {
	before := b.attack.Ladder.Fallen(b.rung)
	p.Crossed = min(points, b.top-b.rung)
	b.rung += p.Crossed
	p.Fell = b.attack.Ladder.Fallen(b.rung) - before
}
