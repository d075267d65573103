package commands

import (
	"context"
	"sort"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// mostTaps is how many things of /due have a choice of their own.
const mostTaps = 20

// planDue lists what waits for the asker, over all their games: what takes one
// tap first, then by deadline. An organiser also sees what is disputed.
func planDue(a *ask) (*answer, error) {
	places, err := a.duePlaces()
	if err != nil {
		return nil, err
	}
	var list []due
	for _, p := range places {
		v, err := a.there(p)
		if err != nil {
			return nil, err
		}
		for _, look := range waiting {
			list = append(list, look(a, v, a.msg.Person)...)
		}
	}
	if len(list) == 0 {
		return only(a.post(a.say("due.nothing")))
	}
	sortDue(list)
	p := a.post(a.dueHead(list))
	for i, d := range list {
		line := a.say("due.line", "n", i+1, "what", d.line)
		if !d.till.IsZero() {
			line = a.say("due.till", "n", i+1, "what", d.line, "till", a.desk.when(d.till, a.msg.Person))
		}
		p.Lines = append(p.Lines, line)
		if i < mostTaps && d.tap.Command != "" {
			tap := d.tap
			if len(list) > 1 {
				tap.Label = strconv.Itoa(i+1) + " " + tap.Label
			}
			p.Choices = append(p.Choices, tap)
		}
	}
	p.Choices = choices(p.Choices...)
	return only(p)
}

// sortDue puts the small things first, and then what is due first.
func sortDue(list []due) {
	sort.SliceStable(list, func(i, j int) bool {
		if list[i].work != list[j].work {
			return list[i].work < list[j].work
		}
		if list[i].till.IsZero() != list[j].till.IsZero() {
			return list[j].till.IsZero()
		}
		return list[i].till.Before(list[j].till)
	})
}

func (a *ask) dueHead(list []due) chat.Line {
	taps := 0
	for _, d := range list {
		if d.work == 1 {
			taps++
		}
	}
	if taps == 0 {
		return a.say("due.head", "n", len(list))
	}
	return a.say("due.taps", "n", len(list), "taps", taps)
}

// duePlaces lists where something may wait for the asker: where they play, and
// for an organiser where a result was disputed.
func (a *ask) duePlaces() ([]chat.Place, error) {
	var out []chat.Place
	looked := map[chat.Place]bool{} // a battle and a campaign may lie in one place
	add := func(p chat.Place) {
		if !looked[p] {
			looked[p] = true
			out = append(out, p)
		}
	}
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		add(g.Place)
	}
	if !a.msg.Organiser {
		return out, nil
	}
	prefix := string(a.msg.Community) + "\n"
	for kv, err := range a.desk.store.Shelf(shelfDisputed).Each(a.ctx, prefix) {
		if err != nil {
			return nil, err
		}
		add(chat.Place(kv.Key[len(prefix):]))
	}
	return out, nil
}

// shelfDisputed keeps where something was ever disputed: community, line end,
// place. Whether it still is stands in the ledger there.
const shelfDisputed = "disputed"

// disputes remembers that organisers may be wanted in a place.
func (d *Desk) disputes(ctx context.Context, c chat.Community, p chat.Place) error {
	return d.store.Shelf(shelfDisputed).Put(ctx, storage.KeyValue{Key: string(c) + "\n" + string(p), Value: []byte{1}})
}
