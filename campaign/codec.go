package campaign

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
)

// acts and happenings make an empty value of each command and event.
var (
	acts       = byName(Start{}, Join{}, Report{}, Agree{}, Object{}, Result{}, Close{})
	happenings = byType(&Started{}, &Joined{}, &Moved{}, &Claimed{}, &Objected{}, &Resulted{}, &Learned{}, &Graded{}, &Closed{})
)

func byName(list ...Act) map[string]reflect.Type {
	out := map[string]reflect.Type{}
	for _, a := range list {
		out[a.Name()] = reflect.TypeOf(a)
	}
	return out
}

func byType(list ...Event) map[string]reflect.Type {
	out := map[string]reflect.Type{}
	for _, e := range list {
		out[e.Type()] = reflect.TypeOf(e).Elem()
	}
	return out
}

// Owns tells whether a command is one of a campaign's.
func Owns(command string) bool { _, ok := acts[command]; return ok }

// ParseCommand reads a command and its args as they stand in an entry: only the
// canonical spelling that MarshalArgs writes.
func ParseCommand(by, name string, args []byte) (Command, error) {
	t, ok := acts[name]
	if !ok {
		return Command{}, fmt.Errorf("campaign: command %q is not known", name)
	}
	v := reflect.New(t)
	if err := json.Unmarshal(args, v.Interface()); err != nil {
		return Command{}, fmt.Errorf("campaign: %s: %w", name, err)
	}
	c := Command{By: by, Act: v.Elem().Interface().(Act)}
	again, err := MarshalArgs(c.Act)
	if err != nil {
		return Command{}, err
	}
	if !bytes.Equal(again, args) {
		return Command{}, fmt.Errorf("campaign: %s: args are not in their one spelling", name)
	}
	return c, nil
}

// MarshalArgs writes the args of a command as canonical JSON.
func MarshalArgs(a Act) ([]byte, error) {
	if err := a.sound(); err != nil {
		return nil, err
	}
	return canonical(a, "")
}

// ParseEvent reads what MarshalEvent writes, and no other spelling of it.
func ParseEvent(b []byte) (Event, error) {
	var head struct {
		Type string `json:"type"`
	}
	if err := json.Unmarshal(b, &head); err != nil {
		return nil, fmt.Errorf("campaign: event: %w", err)
	}
	t, ok := happenings[head.Type]
	if !ok {
		return nil, fmt.Errorf("campaign: event %q is not known", head.Type)
	}
	v := reflect.New(t)
	if err := json.Unmarshal(b, v.Interface()); err != nil {
		return nil, fmt.Errorf("campaign: event %s: %w", head.Type, err)
	}
	e := v.Interface().(Event)
	again, err := MarshalEvent(e)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, b) {
		return nil, fmt.Errorf("campaign: event %s: not in its one spelling", head.Type)
	}
	return e, nil
}

// MarshalEvent writes an event as one canonical JSON object with its type.
func MarshalEvent(e Event) ([]byte, error) {
	if err := e.sound(); err != nil {
		return nil, err
	}
	return canonical(e, e.Type())
}

// canonical writes a value's members in order of their names, without spaces;
// kind, if given, is added as `type`. All text in it is printable ASCII.
func canonical(v any, kind string) ([]byte, error) {
	plain, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(plain))
	d.UseNumber()
	var members map[string]any
	if err := d.Decode(&members); err != nil {
		return nil, err
	}
	if kind != "" {
		members["type"] = kind
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(members); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}
