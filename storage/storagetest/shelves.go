package storagetest

import (
	"bytes"
	"fmt"
	"strings"

	"drumhead/storage"
)

// shelfText gives a shelf's pairs under a prefix as "key=value".
func (b *bench) shelfText(name, prefix string) string {
	b.Helper()
	var all []string
	for kv, err := range b.store.Shelf(name).Each(b.ctx, prefix) {
		b.ok(err)
		all = append(all, kv.Key+"="+string(kv.Value))
	}
	return strings.Join(all, " ")
}

func pairOf(key, value string) storage.KeyValue {
	return storage.KeyValue{Key: key, Value: []byte(value)}
}

func shelfCases() []tested {
	return []tested{
		{"put, get, replace, delete", putGetDelete},
		{"range by prefix, shelves apart", shelvesApart},
		{"a long range", longRange},
		{"two pairs or none", twoPairsOrNone},
		{"names and numbers", shelfLimits},
	}
}

func putGetDelete(b *bench) {
	people := b.store.Shelf("people")
	_, err := people.Get(b.ctx, "ann")
	b.refused(err, storage.ErrNone)
	b.ok(people.Put(b.ctx, pairOf("ann", "1"), pairOf("bo", "")))
	b.ok(people.Put(b.ctx, pairOf("ann", "2")))
	b.reopen()
	people = b.store.Shelf("people")
	value, err := people.Get(b.ctx, "ann")
	b.ok(err)
	equal(b, "ann", string(value), "2")
	value, err = people.Get(b.ctx, "bo")
	b.ok(err)
	equal(b, "an empty value", len(value), 0)
	b.ok(people.Put(b.ctx, storage.KeyValue{Key: "ann"}, storage.KeyValue{Key: "unknown"}))
	_, err = people.Get(b.ctx, "ann")
	b.refused(err, storage.ErrNone)
	b.ok(people.Put(b.ctx))
}

func shelvesApart(b *bench) {
	for _, name := range []string{"a", "ab", "b"} {
		b.ok(b.store.Shelf(name).Put(b.ctx, pairOf("x1", name), pairOf("x2", name), pairOf("y", name)))
	}
	equal(b, "all", b.shelfText("a", ""), "x1=a x2=a y=a")
	equal(b, "some", b.shelfText("ab", "x"), "x1=ab x2=ab")
	equal(b, "none", b.shelfText("a", "z")+b.shelfText("c", ""), "")
}

func longRange(b *bench) {
	for i := range 7 {
		var pairs []storage.KeyValue
		for j := range 100 {
			pairs = append(pairs, storage.KeyValue{Key: fmt.Sprintf("%03d", 100*i+j), Value: bytes.Repeat([]byte{1}, 10_000)})
		}
		b.ok(b.store.Shelf("files").Put(b.ctx, pairs...))
	}
	n := 0
	for kv, err := range b.store.Shelf("files").Each(b.ctx, "") {
		b.ok(err)
		equal(b, "key", kv.Key, fmt.Sprintf("%03d", n))
		n++
	}
	equal(b, "pairs", n, 700)
}

func twoPairsOrNone(b *bench) {
	shelf := b.store.Shelf("settings")
	tooLong := storage.KeyValue{Key: "b", Value: make([]byte, storage.MaxValue+1)}
	b.refused(shelf.Put(b.ctx, pairOf("a", "1"), tooLong), storage.ErrInvalid)
	equal(b, "nothing", b.shelfText("settings", ""), "")
	tooLong.Value = tooLong.Value[1:]
	b.ok(shelf.Put(b.ctx, tooLong))
}

func shelfLimits(b *bench) {
	shelf := b.store.Shelf("settings")
	for what, err := range map[string]error{
		"no key":       shelf.Put(b.ctx, pairOf("", "1")),
		"a long key":   shelf.Put(b.ctx, pairOf(strings.Repeat("k", storage.MaxName+1), "1")),
		"byte 0":       shelf.Put(b.ctx, pairOf("a\x00b", "1")),
		"a key twice":  shelf.Put(b.ctx, pairOf("a", "1"), pairOf("a", "2")),
		"many pairs":   shelf.Put(b.ctx, make([]storage.KeyValue, storage.MaxParts+1)...),
		"no shelf":     b.store.Shelf("").Put(b.ctx, pairOf("a", "1")),
		"a long shelf": b.store.Shelf(strings.Repeat("s", storage.MaxName+1)).Put(b.ctx, pairOf("a", "1")),
	} {
		if !isInvalid(err) {
			b.Errorf("%s: got %v, want ErrInvalid", what, err)
		}
	}
	b.ok(shelf.Put(b.ctx, pairOf(strings.Repeat("k", storage.MaxName), "1")))
}
