package commands

import (
	"context"
	"errors"
	"fmt"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// A command family is one file (or a few) of this package that gives the desk
// its commands. Writing one:
//
//   - list its commands in a function `func rollCommands() []command` and name
//     that function in families (desk.go);
//   - plan reads the question and the state here, refuses with a *reason.Refusal
//     (sentence in words/en/FAMILY.toml) or returns an answer: posts that
//     nothing is stored for, or acts that become entries;
//   - tell makes the posts of an act once its events are known, before it is
//     appended; they are stored with the entry and sent by the pump.
//
// A plan never writes to the store, never rolls, and may be called again for
// the same message when the ledger moved meanwhile.
type command struct {
	args.Spec
	plan func(a *ask) (*answer, error)
	// timer marks a command that only a timer of ours gives, never a person.
	timer bool
}

// ask is one command on its way: who asks what, where, and on which state.
type ask struct {
	ctx     context.Context
	desk    *Desk
	msg     chat.Message
	from    chat.Place  // where it was said or picked; a choice may act elsewhere
	heard   chat.Source // the message as it came; a choice that acts once has a source of its own
	told    bool        // a stored post answers it already
	command *command
	values  args.Values
	now     time.Time // the desk's clock, UTC, whole milliseconds
	here    *view     // the ledger of msg.Place; never nil, perhaps empty

	views   map[chat.Place]*view // every ledger looked at while planning
	salted  []storage.Word       // words said so far, by name; their seq is set when appended
	invited map[chat.Place][]storage.Player
	fired   *storage.TimerRef       // the timer that this answers
	picked  *picked                 // the choice that was picked, if one was
	before  *acted                  // where the message acted before, once that is known
	typed   string                  // what was said, letter for letter
	chosen  map[chat.Place]settings // read for this message already
}

// answer is what a plan comes to: posts, or acts, or both.
type answer struct {
	posts []chat.Post // stand in no outbox, are handed back to who asked
	acts  []act
}

// act is one entry to be. Its command is decided on the state of its place's
// ledger, with dice of that ledger's seal if the rules ask for them.
type act struct {
	place   chat.Place // whose ledger; "" for the place of the message
	by      chat.Person
	command string // the words of the command joined by dots; "" for the asked one's
	args    any    // becomes a canonical JSON object: numbers, printable ASCII, no names
	// later makes args when they depend on acts before this one; it replaces args.
	later func(before []*done) (any, error)
	words []string // names of salted words of the ask that belong to this entry
	// opened lists sealed values that this act may open (design page dice, `said`).
	opened []proof.Opened
	bot    bool      // by the bot itself
	wish   *wish     // how the dice of this one roll are to be cut; nil: as it is usual here
	memo   string    // what tell needs and the entry does not hold, kept while the entry waits
	about  *settling // the entry that waits and that this cut, wait or void is about
	// tell makes the posts and timers, from what was decided. nil: nothing is said.
	tell func(d *done) (told, error)
	// then gives further acts, in this or other ledgers, once the events are known.
	then func(d *done) ([]act, error)
}

// done is an act after it was decided: what will be appended.
type done struct {
	ask    *ask
	act    *act
	rec    storage.Record
	leaf   storage.Hash
	before *view // the state that it was decided on
	after  *view // the state with its events
	waits  bool  // it took its draw and waits for a cut: nothing happened yet
}

// told is what is to be said about an act, and when the desk wants to hear of
// it again.
type told struct {
	posts  []chat.Post
	set    []storage.Timer // Bytes hold the command line that the bot gives then
	cancel []string
}

// say fills a sentence of the catalogue; pseudonyms in it are those of here.
func (a *ask) say(id string, pairs ...any) chat.Line { return a.here.speaker().Say(id, pairs...) }

// post makes a post to wherever the answer of this command belongs.
func (a *ask) post(lines ...chat.Line) chat.Post {
	return chat.Post{To: a.answerTo(), Lines: lines, Entry: -1}
}

// answerTo is where the answer belongs, by the mode that the command declares.
func (a *ask) answerTo() chat.Destination {
	switch {
	case a.command != nil && a.command.Mode == args.Direct:
		return chat.Destination{Only: a.msg.Person}
	case a.msg.Private, a.command != nil && a.command.Mode == args.Private:
		return chat.Destination{Place: a.from, Only: a.msg.Person}
	}
	return chat.Destination{Place: a.msg.Place}
}

// only gives an answer of posts for which nothing is stored.
func only(posts ...chat.Post) (*answer, error) { return &answer{posts: posts}, nil }

// act1 gives an answer of a single act.
func act1(a act) (*answer, error) { return &answer{acts: []act{a}}, nil }

// there returns the state of another place's ledger, frozen with this ask.
func (a *ask) there(p chat.Place) (*view, error) {
	if p == "" || p == a.msg.Place {
		return a.here, nil
	}
	if v, ok := a.views[p]; ok {
		return v, nil
	}
	v, err := a.desk.view(a.ctx, p)
	if err != nil {
		return nil, err
	}
	a.views[p] = v
	return v, nil
}

// seat gives the pseudonym of a person in the ledger of a place, a new one if
// they had none. The new one is stored with the act in that ledger.
func (a *ask) seat(p chat.Place, who chat.Person) (string, error) {
	if p == "" {
		p = a.msg.Place
	}
	v, err := a.there(p)
	if err != nil {
		return "", err
	}
	if s, ok := v.seats[who]; ok {
		return s, nil
	}
	for _, pl := range a.invited[p] {
		if pl.Person == string(who) {
			return pl.Pseudonym, nil
		}
	}
	s := fmt.Sprintf("p%d", len(v.seats)+len(a.invited[p])+1)
	a.invited[p] = append(a.invited[p], storage.Player{Pseudonym: s, Person: string(who)})
	return s, nil
}

// salt puts words (or a sealed value's canonical JSON) beside the entry to be
// and returns what stands for them in its args: the `said` of design page dice.
func (a *ask) salt(name, text string) (string, error) {
	for _, w := range a.salted {
		if w.Name == name && w.Text == text {
			return proof.Said(w.Salt, text), nil
		}
	}
	salt, err := a.desk.random(16)
	if err != nil {
		return "", err
	}
	a.salted = append(a.salted, storage.Word{Name: name, Salt: salt, Text: text})
	return proof.Said(salt, text), nil
}

// value is a parameter as typed, "" if it was left out.
func (a *ask) value(name string) string { return a.values[name] }

// refuse makes a refusal of a person's command: the example, the sentence's id
// and its slots.
func refuse(example, id string, pairs ...any) error {
	return reason.Refuse(example, id, pairs...)
}

// complaint is the post for an error: what was wrong, what was expected, one
// example, and that nothing was rolled. Anything but a refusal is logged and
// shown as a reference only.
func (a *ask) complaint(err error) chat.Post {
	p := a.post()
	if p.To.Place != "" {
		p.To.Only = a.msg.Person
	}
	var r *reason.Refusal
	if !errors.As(err, &r) {
		ref := a.desk.reference(a.msg, err)
		p.Error = "broken"
		p.Lines = []chat.Line{a.say("desk.broken", "ref", ref)}
		return p
	}
	p.Error = r.Reason.ID
	p.Lines = []chat.Line{a.here.speaker().Reason(r.Reason)}
	if example := a.exampleFor(r); example != "" {
		p.Lines = append(p.Lines, a.say("desk.example", "example", chat.Span{Kind: chat.Command, Text: example}))
	}
	if a.command == nil || a.command.Rolls {
		p.Lines = append(p.Lines, a.say("desk.nothing"))
	}
	return p
}

// exampleFor is a command that would be accepted: the refusal's own, else the
// command's, or its help where just that was typed.
func (a *ask) exampleFor(r *reason.Refusal) string {
	switch {
	case r.Example != "" || a.command == nil:
		return r.Example
	case args.Key(a.command.Example) == args.Key(a.msg.Text) || a.msg.Tap != nil:
		return "/help " + a.command.Name
	}
	return a.command.Example
}

// choices numbers choices by their place in the row.
func choices(list ...chat.Choice) []chat.Choice {
	for i := range list {
		list[i].Number = i + 1
	}
	return list
}

// flat is the bare text of a line.
func flat(l chat.Line) string { return words.Flat(l) }
