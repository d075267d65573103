package commands

import (
	"strings"

	"drumhead/commands/proof"
)

// thread is the conversation of its own to which the posts of an act belong: that of
// a battle, from its beginning on. "" is the place itself.
func (d *done) thread() string {
	rec := d.rec
	if d.act.about != nil {
		rec = d.act.about.rec
	}
	if rec.Command != "order" && !strings.HasPrefix(rec.Command, "battle.") {
		return ""
	}
	begun := proof.BattlesOf(d.after.game).Begun
	for _, seq := range []uint64{battleAsked(rec.Args), rec.Seq} {
		if s, ok := begun[seq]; ok {
			f := field{ask: d.ask, view: d.after, seq: seq, State: s}
			return string(f.title()) + " #" + number64(seq)
		}
	}
	return ""
}
