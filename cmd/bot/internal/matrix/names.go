//go:build goolm

package matrix

import "go.mau.fi/util/confusable"

// likeness is what a name looks like: two that look the same could be taken for each
// other. A Cyrillic А is no Latin A (Unicode UTS #39, skeletons).
func likeness(name string) string { return confusable.Skeleton(name) }
