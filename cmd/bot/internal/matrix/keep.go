package matrix

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"drumhead/commands/chat"
)

// keep is the pocket with what is not yet on disk laid over it. Changes gather
// until something is about to depend on them: a request that leaves the process,
// or the end of a sync answer. Then all of them go to disk in one commit.
type keep struct {
	pocket chat.Pocket
	whole  sync.Mutex // held while changes are made that belong together
	writes sync.Mutex // one commit at a time

	mu     sync.Mutex
	dirty  layer
	flying layer // in a commit just now
}

// layer is changes by the kind of their keys, which is the first part: a look at
// one kind need not pass by all the others. A nil value is deleted.
type layer map[string]map[string][]byte

func kindOf(key string) string {
	kind, _, _ := strings.Cut(key, sep)
	return kind
}

func (l layer) put(key string, value []byte) {
	kind := kindOf(key)
	if l[kind] == nil {
		l[kind] = map[string][]byte{}
	}
	l[kind][key] = value
}

// each calls f with every change whose key begins with prefix.
func (l layer) each(prefix string, f func(key string, value []byte)) {
	kind, _, whole := strings.Cut(prefix, sep)
	for k, changes := range l {
		if whole && k != kind {
			continue
		}
		for key, v := range changes {
			if strings.HasPrefix(key, prefix) {
				f(key, v)
			}
		}
	}
}

func newKeep(p chat.Pocket) *keep {
	return &keep{pocket: p, dirty: layer{}}
}

// sep joins the parts of a key.
const sep = "\x00"

// longestPart of a key; a longer one stands there as its hash.
const longestPart = 150

// key joins parts to a key of the pocket.
func key(parts ...string) string {
	for i, p := range parts {
		if len(p) > longestPart || strings.Contains(p, sep) {
			sum := sha256.Sum256([]byte(p))
			parts[i] = "~" + hex.EncodeToString(sum[:])
		}
	}
	return strings.Join(parts, sep)
}

// get returns what is kept, nil if nothing is.
func (k *keep) get(key string) ([]byte, error) {
	k.mu.Lock()
	for _, l := range []layer{k.dirty, k.flying} {
		if v, ok := l[kindOf(key)][key]; ok {
			k.mu.Unlock()
			return slices.Clone(v), nil
		}
	}
	k.mu.Unlock()
	return k.pocket.Get(key)
}

// put keeps a value with the next commit; nil deletes it.
func (k *keep) put(key string, value []byte) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.dirty.put(key, value)
}

// scan calls f with every key that begins with prefix, in order.
func (k *keep) scan(prefix string, f func(key string, value []byte) error) error {
	k.mu.Lock()
	over := map[string][]byte{}
	for _, l := range []layer{k.flying, k.dirty} {
		l.each(prefix, func(key string, v []byte) { over[key] = v })
	}
	k.mu.Unlock()
	type pair struct {
		key   string
		value []byte
	}
	var all []pair
	err := k.pocket.Scan(prefix, func(key string, value []byte) error {
		if _, newer := over[key]; !newer {
			all = append(all, pair{key, slices.Clone(value)})
		}
		return nil
	})
	if err != nil {
		return err
	}
	for key, v := range over {
		if v != nil {
			all = append(all, pair{key, v})
		}
	}
	slices.SortFunc(all, func(a, b pair) int { return strings.Compare(a.key, b.key) })
	for _, p := range all {
		if err := f(p.key, p.value); err != nil {
			return err
		}
	}
	return nil
}

type wholeKey struct{}

// together runs f, whose changes go to disk with each other or not at all: no
// commit of another goroutine comes between.
//
// The machine holds a lock of its own while it sends what it encrypted for a device,
// which commits. Whoever makes it do that must be in here, or one waits in here for
// that lock and the other, holding it, for its commit.
func (k *keep) together(ctx context.Context, f func(ctx context.Context) error) error {
	if ctx.Value(wholeKey{}) != nil {
		return f(ctx)
	}
	k.whole.Lock()
	defer k.whole.Unlock()
	return f(context.WithValue(ctx, wholeKey{}, true))
}

// commit brings every change so far to disk. Within together, what f has
// changed so far goes along: it is about to be depended on.
func (k *keep) commit(ctx context.Context) error {
	if ctx.Value(wholeKey{}) == nil {
		k.whole.Lock()
		defer k.whole.Unlock()
	}
	k.writes.Lock()
	defer k.writes.Unlock()
	k.mu.Lock()
	flying := k.dirty
	k.dirty, k.flying = layer{}, flying
	k.mu.Unlock()
	changes := map[string][]byte{}
	flying.each("", func(key string, v []byte) { changes[key] = v })
	var err error
	if len(changes) > 0 {
		err = k.pocket.Commit(ctx, changes)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.flying = nil
	if err != nil {
		k.dirty.each("", flying.put) // newer changes stand
		k.dirty = flying
	}
	return err
}

// now keeps a value at once, beside what waits for the next commit: of something that
// nothing else depends on.
func (k *keep) now(ctx context.Context, key string, value []byte) error {
	k.writes.Lock()
	defer k.writes.Unlock()
	return k.pocket.Commit(ctx, map[string][]byte{key: value})
}

// set keeps a value as JSON.
func (k *keep) set(key string, v any) error {
	b, err := json.Marshal(v)
	if err == nil {
		k.put(key, b)
	}
	return err
}

// read reads a value that is kept as JSON; ok is false if there is none.
func (k *keep) read(key string, into any) (ok bool, err error) {
	b, err := k.get(key)
	if err != nil || b == nil {
		return false, err
	}
	if err := json.Unmarshal(b, into); err != nil {
		return false, fmt.Errorf("matrix: the pocket is damaged at %.40q: %w", key, err)
	}
	return true, nil
}

// drop deletes every key that begins with a prefix and whose value f picks.
func (k *keep) drop(prefix string, f func(value []byte) bool) (n int64, err error) {
	err = k.scan(prefix, func(key string, value []byte) error {
		if f(value) {
			k.put(key, nil)
			n++
		}
		return nil
	})
	return n, err
}
