package commands

import (
	"context"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

var _ chat.Desk = (*Desk)(nil)

// Complete offers ways to go on with a text half typed: commands, and what has
// a name where it is typed. It answers from memory, and nothing if that fails.
func (d *Desk) Complete(ctx context.Context, m chat.Message) []chat.Suggestion {
	a := d.ask(m)
	a.ctx = ctx
	if err := d.loadPeople(ctx, m.Community); err != nil {
		return nil
	}
	here, err := d.view(ctx, m.Place)
	if err != nil {
		return nil
	}
	a.here, a.views[m.Place] = here, here
	return args.Complete(d.specs, m.Text, a.resolver())
}
