package chat

import "context"

// Pocket is where an adapter keeps what is its own and no part of any game:
// which message a post became, how far it has listened, its keys. It stands in
// no backup, and a game never depends on it: whoever loses a pocket may have to
// tell something twice, but loses no entry.
type Pocket interface {
	// Get returns what is kept under a key; nil and no error if nothing is.
	Get(key string) ([]byte, error)
	// Scan calls f with every key that begins with prefix and what is kept there,
	// in order of the keys, as all of it stood when Scan began. Value is f's only
	// until f returns. An error of f ends the scan and is returned.
	Scan(prefix string, f func(key string, value []byte) error) error
	// Commit makes changes, all or none of them; when it returns nil they are
	// durable. A nil value deletes; an empty one that is not nil is kept.
	Commit(ctx context.Context, changes map[string][]byte) error
}

// MostKey is how many bytes a key of a pocket has at most, MostValue how many
// what is kept under it.
const (
	MostKey   = 512
	MostValue = 1 << 20
)
