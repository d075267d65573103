package storage

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Canon writes a value in canonical form (RFC 8785), in the profile of
// entries: whole numbers, printable ASCII, no null, at most MaxDepth deep.
// Structs are written by their `json` tags (name, omitempty, omitzero, -) as
// encoding/json does it; maps have strings for keys; a nil slice is [] and a
// nil map {}. A Canonical json.RawMessage is taken as it is, any other is
// written anew. What has no place in an entry is an error that names where:
// floats, null, other letters, bytes, other names.
func Canon(v any) (Object, error) {
	return appendCanon(nil, reflect.ValueOf(v), 1)
}

func appendCanon(b []byte, v reflect.Value, depth int) ([]byte, error) {
	if !v.IsValid() {
		return nil, unfit("null")
	}
	if b, done, err := appendMarshaler(b, v, depth); done {
		return b, err
	}
	switch v.Kind() {
	case reflect.String:
		return appendText(b, v.String())
	case reflect.Bool:
		return strconv.AppendBool(b, v.Bool()), nil
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		if n := v.Int(); -MaxNumber <= n && n <= MaxNumber {
			return strconv.AppendInt(b, n, 10), nil
		}
		return nil, unfit("%d, beyond 2^53-1", v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		if n := v.Uint(); n <= MaxNumber {
			return strconv.AppendUint(b, n, 10), nil
		}
		return nil, unfit("%d, beyond 2^53-1", v.Uint())
	case reflect.Pointer, reflect.Interface:
		return appendCanon(b, v.Elem(), depth)
	case reflect.Slice, reflect.Array:
		return appendList(b, v, depth)
	case reflect.Map:
		return appendMap(b, v, depth)
	case reflect.Struct:
		return appendStruct(b, v, depth)
	}
	return nil, unfit("a %s", v.Kind())
}

// unfit is the error for what has no place in an entry.
func unfit(what string, args ...any) error {
	return invalid(RuleJSON, "", "%s has no place in an entry: whole numbers, printable ASCII, true, false, lists and objects expected", fmt.Sprintf(what, args...))
}

// at puts where an error happened before what it says.
func at(where string, err error) error {
	e, ok := err.(*Invalid)
	if !ok {
		return fmt.Errorf("%s: %w", where, err)
	}
	if e.Member != "" {
		where += "." + e.Member
	}
	return &Invalid{Rule: e.Rule, Member: where, What: e.What}
}

func appendText(b []byte, s string) ([]byte, error) {
	b = append(b, '"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c < ' ' || c > '~':
			return nil, unfit("the text %+q", s)
		default:
			b = append(b, c)
		}
	}
	return append(b, '"'), nil
}

func appendList(b []byte, v reflect.Value, depth int) ([]byte, error) {
	if v.Type().Elem().Kind() == reflect.Uint8 {
		return nil, unfit("a run of bytes (write it as hex)")
	}
	if depth > MaxDepth {
		return nil, unfit("what is nested deeper than %d", MaxDepth)
	}
	b = append(b, '[')
	for i := range v.Len() {
		if i > 0 {
			b = append(b, ',')
		}
		var err error
		if b, err = appendCanon(b, v.Index(i), depth+1); err != nil {
			return nil, at(strconv.Itoa(i), err)
		}
	}
	return append(b, ']'), nil
}

func appendMap(b []byte, v reflect.Value, depth int) ([]byte, error) {
	if v.Type().Key().Kind() != reflect.String {
		return nil, unfit("a map without names for keys")
	}
	keys := v.MapKeys()
	slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
	o, err := openObject(b, depth)
	for _, k := range keys {
		if err == nil {
			err = o.member(k.String(), v.MapIndex(k))
		}
	}
	return o.close(), err
}

func appendStruct(b []byte, v reflect.Value, depth int) ([]byte, error) {
	fields, err := fieldsOf(v.Type())
	if err != nil {
		return nil, err
	}
	o, err := openObject(b, depth)
	for _, f := range fields {
		if err != nil {
			break
		}
		if value, ok := f.value(v); ok {
			err = o.member(f.name, value)
		}
	}
	return o.close(), err
}

// object is an object being written.
type object struct {
	b     []byte
	depth int
}

func openObject(b []byte, depth int) (*object, error) {
	if depth > MaxDepth {
		return &object{}, unfit("what is nested deeper than %d", MaxDepth)
	}
	return &object{b: append(b, '{'), depth: depth}, nil
}

func (o *object) member(name string, v reflect.Value) error {
	if !isName(name) {
		return unfit("the name %+q (a letter a-z, then a-z, 0-9 and _)", name)
	}
	if o.b[len(o.b)-1] != '{' {
		o.b = append(o.b, ',')
	}
	o.b = append(append(append(o.b, '"'), name...), '"', ':')
	b, err := appendCanon(o.b, v, o.depth+1)
	if err != nil {
		return at(name, err)
	}
	o.b = b
	return nil
}

func (o *object) close() []byte { return append(o.b, '}') }

var (
	numberType = reflect.TypeFor[json.Number]()
	rawType    = reflect.TypeFor[json.RawMessage]()
	jsonType   = reflect.TypeFor[json.Marshaler]()
	textType   = reflect.TypeFor[encoding.TextMarshaler]()
)

// appendMarshaler writes what knows by itself how it is written; done is false
// for everything else.
func appendMarshaler(b []byte, v reflect.Value, depth int) (_ []byte, done bool, err error) {
	switch t := v.Type(); {
	case t == numberType:
		b, err = appendNumber(b, v.String())
		return b, true, err
	case t == rawType:
		b, err = appendRaw(b, v.Bytes(), depth)
		return b, true, err
	case v.Kind() == reflect.Pointer && v.IsNil(), v.Kind() == reflect.Interface:
		return b, false, nil
	case t.Implements(jsonType):
		raw, err := v.Interface().(json.Marshaler).MarshalJSON()
		if err == nil {
			b, err = appendRaw(b, raw, depth)
		}
		return b, true, err
	case t.Implements(textType):
		text, err := v.Interface().(encoding.TextMarshaler).MarshalText()
		if err == nil {
			b, err = appendText(b, string(text))
		}
		return b, true, err
	}
	return b, false, nil
}

// appendNumber writes a number that is spelled as it must be.
func appendNumber(b []byte, text string) ([]byte, error) {
	s := scanner{b: []byte(text)}
	if _, err := s.number(); err != nil || s.end() != nil {
		return nil, unfit("the number %s", text)
	}
	return append(b, text...), nil
}

// appendRaw writes JSON text in canonical form.
func appendRaw(b, raw []byte, depth int) ([]byte, error) {
	s := scanner{b: raw}
	if s.value(depth) == nil && s.end() == nil {
		return append(b, raw...), nil
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, unfit("%.40q, which is no JSON", raw)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, unfit("%.40q, which is more than one value", raw)
	}
	return appendDecoded(b, v, depth)
}

// appendDecoded is appendCanon for a tree that encoding/json has read.
func appendDecoded(b []byte, v any, depth int) ([]byte, error) {
	if depth > MaxDepth+1 {
		return nil, unfit("what is nested deeper than %d", MaxDepth)
	}
	switch v := v.(type) {
	case map[string]any:
		for name, m := range v {
			raw, err := appendDecoded(nil, m, depth+1)
			if err != nil {
				return nil, at(name, err)
			}
			v[name] = json.RawMessage(raw)
		}
	case []any:
		for i, m := range v {
			raw, err := appendDecoded(nil, m, depth+1)
			if err != nil {
				return nil, at(strconv.Itoa(i), err)
			}
			v[i] = json.RawMessage(raw)
		}
	}
	return appendCanon(b, reflect.ValueOf(v), depth)
}

// field is a member of a struct: where it stands and how it is written.
type field struct {
	name      string
	index     []int
	omitEmpty bool
	omitZero  bool
}

// value finds the field; false if it is left out.
func (f field) value(v reflect.Value) (reflect.Value, bool) {
	for _, i := range f.index {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return v, false
			}
			v = v.Elem()
		}
		v = v.Field(i)
	}
	return v, !(f.omitZero && v.IsZero()) && !(f.omitEmpty && isEmpty(v))
}

func isEmpty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Array, reflect.Map, reflect.String:
		return v.Len() == 0
	case reflect.Struct:
		return false
	}
	return v.IsZero()
}

// plans remembers the fields of each struct type that was written.
var plans sync.Map // reflect.Type → []field

// fieldsOf lists the members of a struct in order of name. Fields of an
// embedded struct without a tag stand among its own.
func fieldsOf(t reflect.Type) ([]field, error) {
	if plan, ok := plans.Load(t); ok {
		return plan.([]field), nil
	}
	var fields []field
	for _, f := range reflect.VisibleFields(t) {
		tag, tagged := f.Tag.Lookup("json")
		name, rest, _ := strings.Cut(tag, ",")
		if !f.IsExported() || tag == "-" || f.Anonymous && !tagged {
			continue
		}
		if len(f.Index) > 1 && !embedded(t, f.Index) {
			continue
		}
		if name == "" {
			name = f.Name
		}
		fields = append(fields, field{
			name: name, index: f.Index,
			omitEmpty: strings.Contains(rest, "omitempty"), omitZero: strings.Contains(rest, "omitzero"),
		})
	}
	slices.SortFunc(fields, func(a, b field) int { return strings.Compare(a.name, b.name) })
	for i := 1; i < len(fields); i++ {
		if fields[i].name == fields[i-1].name {
			return nil, invalid(RuleJSON, fields[i].name, "%s has this name twice", t)
		}
	}
	plans.Store(t, fields)
	return fields, nil
}

// embedded tells whether every struct on the way to a field is embedded
// without a tag of its own, so that the field counts as one of t.
func embedded(t reflect.Type, index []int) bool {
	for i := 1; i < len(index); i++ {
		if _, tagged := t.FieldByIndex(index[:i]).Tag.Lookup("json"); tagged {
			return false
		}
	}
	return true
}

// Member finds a member of a canonical object; false if there is none.
func Member(o Object, name string) (Object, bool) {
	if !bytes.Contains(o, []byte(name)) { // nearly always what is looked for is not there
		return nil, false
	}
	var found Object
	err := isObject(o, 1, func(n, value []byte) {
		if string(n) == name {
			found = value
		}
	})
	return found, err == nil && found != nil
}

// Text reads a canonical text; false for anything else.
func Text(o Object) (string, bool) {
	s := scanner{b: o}
	text, err := s.text()
	return text, err == nil && s.end() == nil
}

// Number reads a canonical number from 0 on; false for anything else.
func Number(o Object) (uint64, bool) {
	s := scanner{b: o}
	n, err := s.number()
	return uint64(n), err == nil && n >= 0 && s.end() == nil
}
