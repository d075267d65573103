package proof

// Reach is how far back an entry may look for dice that stand again, and how
// far a source and a word must differ from those before: so many entries.
const Reach = 4096

// chunk is how many values a window keeps in one piece.
const chunk = 32

// window is a list to which only new values are added. It is a value: adding
// gives another window and leaves the old one as it was, at the cost of
// copying at most one chunk.
type window[T any] struct {
	full [][]T // of chunk values each, the oldest first
	tail []T
}

// add puts a value at the end, and forgets the oldest chunk once all of it is stale.
func (w window[T]) add(v T, stale func(T) bool) window[T] {
	tail := make([]T, len(w.tail)+1)
	copy(tail, w.tail)
	tail[len(w.tail)] = v
	w.tail = tail
	if len(tail) < chunk {
		return w
	}
	full := w.full
	if len(full) > 0 && all(full[0], stale) {
		full = full[1:]
	}
	w.full = append(full[:len(full):len(full)], tail)
	w.tail = nil
	return w
}

func all[T any](list []T, is func(T) bool) bool {
	for _, v := range list {
		if !is(v) {
			return false
		}
	}
	return true
}

// find gives the newest value that fits.
func (w window[T]) find(fits func(T) bool) (T, bool) {
	for i := len(w.tail) - 1; i >= 0; i-- {
		if fits(w.tail[i]) {
			return w.tail[i], true
		}
	}
	for c := len(w.full) - 1; c >= 0; c-- {
		for i := chunk - 1; i >= 0; i-- {
			if fits(w.full[c][i]) {
				return w.full[c][i], true
			}
		}
	}
	var none T
	return none, false
}
