package commands

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"drumhead/commands/args"
	"drumhead/engine/battle"
	"drumhead/engine/muster"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/storage"
)

// firstGame is the game that is meant where nobody says which.
const firstGame = "osier"

// playable is a pack that may be played here, with the bytes of its file.
type playable struct {
	*rules.Pack
	text []byte
}

// builtinGames are the packs that come with the program, loaded once.
var builtinGames = sync.OnceValues(func() ([]playable, error) {
	var all []playable
	for _, id := range rules.Builtins() {
		text, _ := rules.Builtin(id)
		p, err := rules.Load(id+".toml", text)
		if err != nil {
			return nil, fmt.Errorf("commands: the built-in pack %s: %w", id, err)
		}
		all = append(all, playable{p, text})
	}
	slices.SortStableFunc(all, func(a, b playable) int { return first(b.ID) - first(a.ID) })
	return all, nil
})

// loadGames gives the packs that come with the program, the first game first, and
// then the own ones. Each id is one game.
func loadGames(own [][]byte) ([]playable, error) {
	all, err := builtinGames()
	if err != nil {
		return nil, err
	}
	all = slices.Clone(all)
	for _, text := range own {
		p, err := rules.Load("own.toml", text)
		if err != nil {
			return nil, fmt.Errorf("commands: a pack of one's own: %w", err)
		}
		if slices.ContainsFunc(all, func(g playable) bool { return g.ID == p.ID }) {
			return nil, fmt.Errorf("commands: two packs have the id %q", p.ID)
		}
		all = append(all, playable{p, text})
	}
	return all, nil
}

func first(id string) int {
	if id == firstGame {
		return 1
	}
	return 0
}

// packs are the games that may be played here.
func (d *Desk) packs() []*rules.Pack {
	var all []*rules.Pack
	for _, g := range d.games {
		all = append(all, g.Pack)
	}
	return all
}

// pack finds a game by its id; the first game for "".
func (d *Desk) pack(id string) (*rules.Pack, error) {
	if id == "" {
		id = firstGame
	}
	var known []string
	for _, g := range d.games {
		if g.ID == id {
			return g.Pack, nil
		}
		known = append(known, g.ID)
	}
	return nil, refuse("/force add", "force.refuse.pack", "pack", reason.Name(id), "packs", known)
}

// pinned is the pack of some terms: as it is here, or as the ledger keeps it.
func (a *ask) pinned(t battle.Terms) (*rules.Pack, error) {
	for _, p := range a.desk.packs() {
		if p.Hash == t.SHA256 {
			return p, nil
		}
	}
	text, err := a.desk.store.Shelf(shelfFiles).Get(a.ctx, t.SHA256)
	if errors.Is(err, storage.ErrNone) {
		return nil, refuse("/battle open", "battle.refuse.pack", "pack", t.Pack, "edition", t.Edition)
	}
	if err != nil {
		return nil, err
	}
	return rules.Load(t.Pack+".toml", text)
}

// readSaid reads a force as one says it, by the game whose units it names: the
// one with the fewest names that mean nothing, the first of equals.
func (a *ask) readSaid(text string) (*rules.Pack, muster.Draft, error) {
	var best *rules.Pack
	var draft muster.Draft
	var refused error
	least := -1
	for _, p := range a.desk.packs() {
		d, err := muster.ReadSaid(p, text)
		if err != nil {
			if refused == nil {
				refused = err
			}
			continue
		}
		if n := strange(p, d); least < 0 || n < least {
			best, draft, least = p, d, n
		}
	}
	if best == nil {
		return nil, draft, refused
	}
	if best.ID != firstGame {
		draft.Pack = best.ID
	}
	return best, draft, nil
}

// strange counts what a draft says that a game does not know: its units, and the
// name of an army.
func strange(p *rules.Pack, d muster.Draft) int {
	n := 1
	for i := range p.Armies {
		if args.Key(p.Armies[i].Title) == args.Key(d.Name) {
			n = 0
		}
	}
	for _, f := range d.Judge(p).Faults {
		if f.Kind == "name" {
			n += 2
		}
	}
	return n
}

// scenario finds a scenario by its name in any game; without a name it is the
// first one of the game of a force, if one is named, or of the first game.
func (a *ask) scenario(said, force string) (*rules.Pack, *rules.Scenario, error) {
	p, err := a.desk.pack("")
	if err != nil {
		return nil, nil, err
	}
	if force != "" {
		if f, err := a.force(a.msg.Person, force); err == nil {
			if p, err = a.desk.pack(f.Pack); err != nil {
				return nil, nil, err
			}
		}
	}
	s, why := scenarioOf(p, said)
	if why == nil {
		return p, s, nil
	}
	var names []reason.Name
	for _, other := range a.desk.packs() {
		if s, err := scenarioOf(other, said); err == nil {
			return other, s, nil
		}
		for _, s := range other.Scenarios {
			names = append(names, reason.Name(s.Title))
		}
	}
	return nil, nil, refuse("/battle open Bo 500 "+p.Scenarios[0].Title, "battle.refuse.scenario", "scenario", reason.Name(said), "scenarios", names)
}
