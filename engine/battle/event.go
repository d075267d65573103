package battle

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
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
	&Volleyed{}, &Met{}, &Looked{}, &Contested{}, &Tried{}, &Mended{}, &Blown{},
	&Weakened{}, &Retreated{}, &Drifted{}, &Followed{}, &Lifted{}, &Scattered{},
	&Scored{}, &Handed{}, &Given{}, &TimeUp{},
	&UndoAsked{}, &Kept{}, &Undone{},
	&Proposed{}, &Withdrawn{}, &Finished{}, &Agreed{}, &Disputed{}, &Conceded{}, &End{},
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
// its type as `type`. Members of events stand in the order of their names.
func MarshalEvent(e Event) ([]byte, error) {
	members, err := plainJSON(e)
	if err != nil {
		return nil, err
	}
	at := placeOf(members, "type")
	kind := `"type":"` + e.Type() + `"`
	switch {
	case at > 1:
		kind = "," + kind
	case len(members) > len("{}"):
		kind += ","
	}
	return slices.Concat(members[:at], []byte(kind), members[at:]), nil
}

// plainJSON writes a value whose members are declared in the order of their names.
func plainJSON(v any) ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), err
}

// placeOf finds where a member of that name belongs in an object that has none:
// behind the last member whose name comes before it.
func placeOf(object []byte, name string) int {
	depth, quoted, at := 0, false, 1
	for i := 0; i < len(object); i++ {
		switch c := object[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			if !quoted && depth == 1 && (object[i-1] == '{' || object[i-1] == ',') && string(object[i+1:i+1+bytes.IndexByte(object[i+1:], '"')]) > name {
				return at
			}
			quoted = !quoted
		case quoted:
		case c == '{' || c == '[':
			depth++
		case c == '}' || c == ']':
			depth--
		}
		if !quoted && depth == 1 && i+1 < len(object) && (object[i+1] == ',' || object[i+1] == '}') {
			at = i + 1
		}
	}
	return at
}

// ParseEvent reads what MarshalEvent writes and no other spelling.
func ParseEvent(b []byte) (Event, error) {
	kind, members, err := untyped(b)
	if err != nil {
		return nil, err
	}
	make, ok := kinds[kind]
	if !ok {
		return nil, fmt.Errorf("battle: event %q is not known", kind)
	}
	e := make()
	if err := json.Unmarshal(members, e); err != nil {
		return nil, fmt.Errorf("battle: event %s: %w", kind, err)
	}
	again, err := MarshalEvent(e)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, b) || !ascii(b) || bytes.Contains(again, []byte(":null")) {
		return nil, fmt.Errorf("battle: event %s: not its one spelling", kind)
	}
	return e, nil
}

// typeMember is how an event's type is written. No member inside an event has
// that name.
var typeMember = []byte(`"type":"`)

// untyped takes the type out of an event: what is left are its own members.
func untyped(b []byte) (kind string, members []byte, err error) {
	at := bytes.Index(b, typeMember)
	end := -1
	if at >= 0 {
		end = bytes.IndexByte(b[at+len(typeMember):], '"')
	}
	if at < 1 || end < 0 {
		return "", nil, fmt.Errorf("battle: an event has a type")
	}
	end += at + len(typeMember)
	kind = string(b[at+len(typeMember) : end])
	head, tail := b[:at], b[end+1:]
	if bytes.HasPrefix(tail, []byte(",")) {
		tail = tail[1:]
	} else {
		head = bytes.TrimSuffix(head, []byte(","))
	}
	return kind, append(append([]byte(nil), head...), tail...), nil
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
