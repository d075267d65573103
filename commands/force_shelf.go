package commands

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"sort"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/muster"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// shelfForces keeps saved forces: platform, line end, person, line end, digest of
// the name → force. shelfDrafts keeps the one draft of a person: platform, line
// end, person.
const (
	shelfForces = "forces"
	shelfDrafts = "drafts"
)

// MostForces is how many forces one person may keep.
const MostForces = 40

// mine is the key under which a person's things lie on a shelf: their platform,
// line end, person. They are one's own, in private as in every server.
func (a *ask) mine(who chat.Person) string {
	platform, _, _ := strings.Cut(string(who), ":")
	return platform + "\n" + string(who)
}

// forceKey is where one of the asker's forces lies. The name is hashed: in some
// writings it is longer than a key may be.
func (a *ask) forceKey(f muster.Force) string {
	sum := sha256.Sum256([]byte(args.Key(f.Name)))
	return a.mine(a.msg.Person) + "\n" + hex.EncodeToString(sum[:10])
}

// forces are the saved forces of a person, by name.
func (a *ask) forces(who chat.Person) ([]muster.Force, error) {
	var all []muster.Force
	for kv, err := range a.desk.store.Shelf(shelfForces).Each(a.ctx, a.mine(who)+"\n") {
		if err != nil {
			return nil, err
		}
		var f muster.Force
		if err := json.Unmarshal(kv.Value, &f); err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	sort.Slice(all, func(i, j int) bool { return args.Key(all[i].Name) < args.Key(all[j].Name) })
	return all, nil
}

// force finds a saved force of a person by its name or an unambiguous beginning
// of it, or refuses.
func (a *ask) force(who chat.Person, name string) (muster.Force, error) {
	all, err := a.forces(who)
	if err != nil {
		return muster.Force{}, err
	}
	key := args.Key(name)
	var begin []muster.Force
	for _, f := range all {
		if args.Key(f.Name) == key {
			return f, nil
		}
		if strings.HasPrefix(args.Key(f.Name), key) {
			begin = append(begin, f)
		}
	}
	switch {
	case len(begin) == 1:
		return begin[0], nil
	case len(begin) > 1:
		return muster.Force{}, refuse("/force show "+begin[0].Name, "force.refuse.which", "name", reason.Name(name), "names", forceTitles(begin))
	case len(all) == 0:
		return muster.Force{}, refuse("/force add", "force.refuse.nosuchany", "name", reason.Name(name))
	}
	return muster.Force{}, refuse("/force show "+all[0].Name, "force.refuse.nosuch", "name", reason.Name(name), "names", forceTitles(all))
}

func forceTitles(all []muster.Force) []reason.Name {
	var names []reason.Name
	for _, f := range all {
		names = append(names, reason.Name(f.Name))
	}
	return names
}

// saveForce stores a force under its name and takes the draft away. It tells
// whether an earlier force of that name was replaced.
func (a *ask) saveForce(f muster.Force) (replaced bool, err error) {
	all, err := a.forces(a.msg.Person)
	if err != nil {
		return false, err
	}
	key := args.Key(f.Name)
	for _, have := range all {
		replaced = replaced || args.Key(have.Name) == key
	}
	if !replaced && len(all) >= MostForces {
		return false, refuse("/force drop "+all[0].Name, "force.refuse.full", "most", MostForces)
	}
	b, err := json.Marshal(f)
	if err != nil {
		return false, err
	}
	if err := a.desk.store.Shelf(shelfForces).Put(a.ctx, storage.KeyValue{Key: a.forceKey(f), Value: b}); err != nil {
		return false, err
	}
	return replaced, a.desk.store.Shelf(shelfDrafts).Put(a.ctx, storage.KeyValue{Key: a.mine(a.msg.Person)})
}

// dropForce deletes a saved force.
func (a *ask) dropForce(f muster.Force) error {
	return a.desk.store.Shelf(shelfForces).Put(a.ctx, storage.KeyValue{Key: a.forceKey(f)})
}

// keepDraft stores the asker's draft; nil deletes it.
func (a *ask) keepDraft(d *muster.Draft) error {
	kv := storage.KeyValue{Key: a.mine(a.msg.Person)}
	if d != nil {
		b, err := json.Marshal(d)
		if err != nil {
			return err
		}
		kv.Value = b
	}
	return a.desk.store.Shelf(shelfDrafts).Put(a.ctx, kv)
}

// forceDraft is the asker's draft; nil if there is none.
func (a *ask) forceDraft() (*muster.Draft, error) {
	b, err := a.desk.store.Shelf(shelfDrafts).Get(a.ctx, a.mine(a.msg.Person))
	if errors.Is(err, storage.ErrNone) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	d := &muster.Draft{}
	return d, json.Unmarshal(b, d)
}

// forceNames lists the asker's saved forces, for completion.
func forceNames(a *ask, k args.Kind) []string {
	if k != args.Saved {
		return nil
	}
	all, err := a.forces(a.msg.Person)
	if err != nil {
		return nil
	}
	var names []string
	for _, f := range all {
		names = append(names, f.Name)
	}
	return names
}
