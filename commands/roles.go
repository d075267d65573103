package commands

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfRoles keeps, by community, the roles whose people organise there besides
// those whom the platform says run it.
const shelfRoles = "roles"

// MostRoles is how many roles may organise in a community.
const MostRoles = 20

// role is one of them: its id on the platform, and what it was called when it was
// chosen.
type role struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

func rolesCommand() command {
	return command{Spec: args.Spec{Name: "settings roles", Mode: args.Private, Help: "who organises here: a role more, none, or as it is", Example: "/settings roles none",
		Params: []args.Param{{Name: "role", Kind: args.Role, Optional: true, Help: "a role of this server, or none"}}}, plan: planRoles}
}

// organises tells whether somebody's roles make them an organiser.
func (d *Desk) organises(ctx context.Context, m chat.Message) (bool, error) {
	if m.Organiser || len(m.Roles) == 0 {
		return m.Organiser, nil
	}
	all, err := d.roles(ctx, m.Community)
	return slices.ContainsFunc(all, func(r role) bool { return slices.Contains(m.Roles, r.ID) }), err
}

func (d *Desk) roles(ctx context.Context, c chat.Community) ([]role, error) {
	b, err := d.store.Shelf(shelfRoles).Get(ctx, string(c))
	if errors.Is(err, storage.ErrNone) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []role
	return all, json.Unmarshal(b, &all)
}

// planRoles shows the roles that organise, adds one, or takes all away. A role
// comes as its id and its name.
func planRoles(a *ask) (*answer, error) {
	all, err := a.desk.roles(a.ctx, a.msg.Community)
	if err != nil {
		return nil, err
	}
	id, name, _ := strings.Cut(a.value("role"), " ")
	switch {
	case id == "":
		return only(a.rolesHere(all))
	case !a.msg.Organiser:
		return nil, refuse("/settings roles", "roles.refuse.organiser")
	case args.Key(id) == "none" && name == "":
		all = nil
	case name == "":
		return nil, refuse("/settings roles", "roles.refuse.role", "role", clip(id))
	case slices.ContainsFunc(all, func(r role) bool { return r.ID == id }):
	case len(all) >= MostRoles:
		return nil, refuse("/settings roles none", "roles.refuse.full", "most", MostRoles)
	default:
		all = append(slices.Clone(all), role{id, cleanName(name)})
	}
	b, err := json.Marshal(all)
	if err != nil {
		return nil, err
	}
	if err := a.desk.store.Shelf(shelfRoles).Put(a.ctx, storage.KeyValue{Key: string(a.msg.Community), Value: b}); err != nil {
		return nil, err
	}
	return only(a.rolesHere(all))
}

// rolesHere says who organises here now.
func (a *ask) rolesHere(all []role) chat.Post {
	if len(all) == 0 {
		return a.post(a.say("roles.none"))
	}
	var names chat.Line
	for i, r := range all {
		if i > 0 {
			names = append(names, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		names = append(names, said(r.Name))
	}
	p := a.post(a.say("roles.here", "names", names))
	if a.msg.Organiser {
		p.Choices = choices(chat.Choice{Label: flat(a.say("roles.take")), Command: "/settings roles none"})
	}
	return p
}
