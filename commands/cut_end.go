package commands

import (
	"errors"
	"regexp"
	"slices"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// spokenEnd asks that what waits is ended without dice. It is too short to be
// taken for a word that cuts.
var spokenEnd = regexp.MustCompile(`(?i)^end(?:\s+#?(\d{1,9}))?$`)

// shelfEnding keeps who has asked that a waiting entry is ended: ledger/seq → person.
const shelfEnding = "ending"

// endWithout ends an entry that waits, without dice: by consent of the two whom it
// concerns, or because an organiser rules it. What was ordered has not happened, and
// its key is shown, so that everybody can see which dice it would have been.
func (a *ask) endWithout(v *view, said string) (*answer, error) {
	p, err := a.waitingFor(v, said)
	if err != nil {
		return nil, err
	}
	s, err := a.settle(v, p.Seq)
	if err != nil {
		return nil, err
	}
	shelf, key := a.desk.store.Shelf(shelfEnding), v.ledger.String()+"/"+number64(p.Seq)
	sides := a.concerned(v, p, s.rec)
	mine := slices.Contains(sides, a.msg.Person)
	switch {
	case p.Lost:
		return act1(a.void(s, v.place, "lost"))
	case !mine && a.msg.Organiser:
		return act1(a.void(s, v.place, "ruling"))
	case !mine:
		return nil, refuse("", "cut.refuse.end", "entry", number(int64(p.Seq)), "names", a.names(sides))
	}
	first, err := shelf.Get(a.ctx, key)
	switch {
	case err != nil && !errors.Is(err, storage.ErrNone):
		return nil, err
	case err == nil && chat.Person(first) != a.msg.Person:
		return act1(a.void(s, v.place, "consent"))
	case len(sides) == 1:
		return nil, refuse("", "cut.refuse.end_alone", "entry", number(int64(p.Seq)))
	}
	if err := shelf.Put(a.ctx, storage.KeyValue{Key: key, Value: []byte(a.msg.Person)}); err != nil {
		return nil, err
	}
	others := slices.DeleteFunc(slices.Clone(sides), func(who chat.Person) bool { return who == a.msg.Person })
	post := a.post(a.say("cut.end_asked", "who", a.desk.who(a.msg.Person), "entry", number(int64(p.Seq)), "other", a.desk.who(others[0])),
		a.say("cut.end_means"))
	post.To = chat.Destination{Place: v.place}
	post.Notify = others[:1]
	post.Choices = choices(chat.Choice{Label: "End it", Command: "/cut end " + number64(p.Seq), Who: others[:1], Once: true})
	return only(post)
}

// waitingFor is the entry that somebody means: the one named, or the only one that
// waits.
func (a *ask) waitingFor(v *view, said string) (proof.Pending, error) {
	m := spokenEnd.FindStringSubmatch(said)
	all := v.book.Pending()
	if n, err := strconv.ParseUint(m[1], 10, 64); err == nil {
		p, ok := pendingAt(v, n)
		if !ok {
			return p, refuse("/cut", "cut.refuse.settled", "entry", number(int64(n)))
		}
		return p, nil
	}
	switch len(all) {
	case 0:
		return proof.Pending{}, refuse("/roll 12d6 4+", "cut.refuse.nothing")
	case 1:
		return all[0], nil
	}
	return proof.Pending{}, refuse("/cut end "+number64(all[0].Seq), "cut.refuse.which", "n", len(all))
}

// concerned are the people whose entry waits: of a battle both players, else who
// rolls and who cuts.
func (a *ask) concerned(v *view, p proof.Pending, rec storage.Record) []chat.Person {
	pseudonyms := []string{p.Player, p.By}
	if s, ok := proof.BattlesOf(v.game).Begun[battleAsked(rec.Args)]; ok {
		pseudonyms = s.Players[:]
	}
	var out []chat.Person
	for _, player := range pseudonyms {
		if who := v.person(player); who != "" && !slices.Contains(out, who) {
			out = append(out, who)
		}
	}
	return out
}

// void makes the act that ends an entry without dice.
func (a *ask) void(s *settling, place chat.Place, why string) act {
	return act{place: place, command: "void", about: s, args: map[string]any{"of": s.Seq, "why": why},
		tell: func(d *done) (told, error) {
			say := d.after.speaker().Say
			post := chat.Post{Binds: true, Entry: int64(d.rec.Seq), Lines: []chat.Line{
				say("cut.void."+why, "entry", number(int64(s.Seq)), "by", d.after.who(s.Player), "who", d.after.who(d.rec.Player)),
				say("cut.void_next")}}
			if d.rec.Key != "" {
				post.Lines = append(post.Lines, say("cut.void_key"), chat.Line{code(d.rec.Key)})
			}
			return told{posts: []chat.Post{post}, cancel: []string{cutTimer(s.Seq)}}, nil
		}}
}
