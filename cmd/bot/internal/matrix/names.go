//go:build goolm

package matrix

import "go.mau.fi/util/confusable"

// looksLike tells whether two names could be taken for each other: a Cyrillic А
// is no Latin A (Unicode UTS #39, skeletons).
func looksLike(a, b string) bool {
	return a != "" && b != "" && confusable.Skeleton(a) == confusable.Skeleton(b)
}
