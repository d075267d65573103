package battle

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
)

// Event is one thing that happened in a battle: one of the types of the files
// happened_*.go. An event can always be applied; whether it could happen was
// settled before.
type Event interface {
	// Type names the event in JSON.
	Type() string
	apply(*State)
}

// kinds makes an empty event of each type.
var kinds = byType(
	&Begun{}, &Settled{}, &Opened{},
	&Moved{}, &Held{}, &Status{}, &Skipped{}, &Stopped{},
	&Attacked{}, &Charged{}, &Engaged{}, &Suffered{}, &Broken{},
	&CastAt{}, &Countered{}, &Tested{},
	&Scored{}, &Handed{}, &Given{}, &TimeUp{},
	&Proposed{}, &Finished{}, &Agreed{}, &Disputed{}, &Conceded{}, &End{},
)

func byType(events ...Event) map[string]func() Event {
	kinds := map[string]func() Event{}
	for _, e := range events {
		t := reflect.TypeOf(e).Elem()
		kinds[e.Type()] = func() Event { return reflect.New(t).Interface().(Event) }
	}
	return kinds
}

// MarshalEvent writes an event as one canonical JSON object: its members, and
// its type as `type`.
func MarshalEvent(e Event) ([]byte, error) {
	plain, err := json.Marshal(e)
	if err != nil {
		return nil, err
	}
	var members map[string]json.RawMessage
	if err := json.Unmarshal(plain, &members); err != nil {
		return nil, err
	}
	members["type"], _ = json.Marshal(e.Type())
	return canonical(members)
}

// ParseEvent reads what MarshalEvent writes and no other spelling.
func ParseEvent(b []byte) (Event, error) {
	var head struct {
		Type string `json:"type"`
	}
	if err := json.Unmarshal(b, &head); err != nil {
		return nil, fmt.Errorf("battle: event: %w", err)
	}
	make, ok := kinds[head.Type]
	if !ok {
		return nil, fmt.Errorf("battle: event %q is not known", head.Type)
	}
	e := make()
	if err := json.Unmarshal(b, e); err != nil {
		return nil, fmt.Errorf("battle: event %s: %w", head.Type, err)
	}
	again, err := MarshalEvent(e)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, b) || !ascii(b) {
		return nil, fmt.Errorf("battle: event %s: not its one spelling", head.Type)
	}
	return e, nil
}

// Apply folds one event into the state, which stays as it was.
func (s State) Apply(e Event) State { return s.Fold([]Event{e}) }

// Fold applies events one after the other.
func (s State) Fold(events []Event) State {
	s = s.own()
	for _, e := range events {
		e.apply(&s)
	}
	return s
}

// own copies what events change in place. Lists inside a unit are replaced by
// events, never changed.
func (s State) own() State {
	s.Units = append([]Unit(nil), s.Units...)
	s.Taken = append([][2]int(nil), s.Taken...)
	return s
}
