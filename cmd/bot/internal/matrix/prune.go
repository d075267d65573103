//go:build goolm

package matrix

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/id"
)

// What is kept for how long, and how much of it. A ciphertext that was read once must
// not be read again as another message, however long ago that was: the notes of a
// session's indices go only with the session, or where all that lie so low are refused.
const (
	sessionFor  = 90 * 24 * time.Hour // a session that somebody spoke in, after its last message
	indicesEach = 1000                // indices of a session noted one by one, the highest; what lies lower is refused
	ownSessions = 20                  // of ours in each room, the newest, stay for ever: we read our own posts again
	withheldFor = 7 * 24 * time.Hour  // the news that a key is withheld

	pruneEvery = 24 * time.Hour
	mostPruned = 1000 // sessions at once; the others with the next answer
)

// bound is how long, and how many, of one kind of note are kept.
type bound struct {
	kind string
	age  time.Duration
	most int
	when func(value []byte) time.Time
}

// bounds are those of notes that stand for themselves. Without them a post of long ago
// cannot be edited or picked by a reply, and taking back a command is not answered.
var bounds = []bound{
	{"sent", sentFor, 200_000, func(b []byte) time.Time { return whenOf[delivered](b, func(d delivered) time.Time { return d.Time }) }},
	{"beside", sentFor, 200_000, func(b []byte) time.Time { return whenOf[beside](b, func(d beside) time.Time { return d.Time }) }},
	{"entry", sentFor, 200_000, func(b []byte) time.Time { _, at := readEntry(b); return at }},
	{"acted", 30 * 24 * time.Hour, 100_000, func(b []byte) time.Time {
		return whenOf[int64](b, func(s int64) time.Time { return time.Unix(s, 0) })
	}},
}

// whenOf reads a note's time; one that cannot be read is of long ago.
func whenOf[T any](b []byte, when func(T) time.Time) time.Time {
	var v T
	if json.Unmarshal(b, &v) != nil {
		return time.Time{}
	}
	return when(v)
}

// entryOf is the note which entry a message of ours shows, and since when.
func entryOf(entry int64, now time.Time) []byte {
	return strconv.AppendInt(append(strconv.AppendInt(nil, entry, 10), ' '), now.Unix(), 10)
}

// readEntry reads it.
func readEntry(b []byte) (entry string, at time.Time) {
	entry, since, _ := strings.Cut(string(b), " ")
	s, err := strconv.ParseInt(since, 10, 64)
	if err != nil {
		return entry, time.Time{}
	}
	return entry, time.Unix(s, 0)
}

// prune forgets what is older than its bound or beyond it, once a day.
func (a *Adapter) prune(ctx context.Context) error {
	now := a.now()
	if now.Sub(a.pruned) < pruneEvery {
		return nil
	}
	for _, b := range bounds {
		if err := b.prune(a.keep, now); err != nil {
			return err
		}
	}
	if err := a.store.pruneWithheld(now); err != nil {
		return err
	}
	if err := a.store.pruneIndices(ctx); err != nil {
		return err
	}
	more, err := a.store.pruneSessions(ctx, now, a.mach.OwnIdentity().IdentityKey)
	if err == nil && !more {
		a.pruned = now
	}
	return err
}

// prune forgets notes of one kind. It looks at what is on disk: what is not there yet
// is new.
func (b bound) prune(k *keep, now time.Time) error {
	var times []int64
	look := func(f func(key string, at time.Time)) error {
		return k.pocket.Scan(b.kind+sep, func(key string, value []byte) error {
			f(key, b.when(value))
			return nil
		})
	}
	if err := look(func(_ string, at time.Time) { times = append(times, at.Unix()) }); err != nil {
		return err
	}
	oldest := now.Add(-b.age).Unix()
	if over := len(times) - b.most; over > 0 {
		slices.Sort(times)
		oldest = max(oldest, times[over])
	}
	return look(func(key string, at time.Time) {
		if at.Unix() < oldest {
			k.put(key, nil)
		}
	})
}

// pruneWithheld forgets the news of keys that are withheld.
func (s *store) pruneWithheld(now time.Time) error {
	return s.pocket.Scan("in"+sep, func(at string, b []byte) error {
		var r inRecord
		if err := json.Unmarshal(b, &r); err != nil {
			return err
		}
		if r.Withheld != nil && now.Sub(r.At) > withheldFor {
			s.put(at, nil)
		}
		return nil
	})
}

// old is a session that nobody spoke in for long.
type old struct {
	at    string // key of its record
	room  id.RoomID
	id    id.SessionID
	came  time.Time
	isOwn bool
}

// pruneSessions forgets sessions that nobody spoke in for long, with the notes of their
// indices; that they were there stays, so that their keys are not taken again. It tells
// whether there are more.
func (s *store) pruneSessions(ctx context.Context, now time.Time, own id.IdentityKey) (more bool, err error) {
	list, err := s.oldSessions(now, own)
	if err != nil {
		return false, err
	}
	if len(list) > mostPruned {
		list, more = list[:mostPruned], true
	}
	if len(list) == 0 {
		return false, nil
	}
	gone := map[string]bool{} // of ours
	err = s.together(ctx, func(ctx context.Context) error {
		for _, o := range list {
			forgotten, err := s.forget(o, now)
			if err != nil {
				return err
			}
			if forgotten && o.isOwn {
				gone[string(o.id)] = true
			}
		}
		return s.pocket.Scan("shared"+sep, func(at string, _ []byte) error { // nobody can be given their keys again
			if len(gone) > 0 && gone[at[strings.LastIndex(at, sep)+1:]] {
				s.put(at, nil)
			}
			return nil
		})
	})
	return more, err
}

// oldSessions lists the sessions that came long ago, but the newest of our own.
func (s *store) oldSessions(now time.Time, own id.IdentityKey) (list []old, err error) {
	mine := map[id.RoomID][]old{}
	err = s.pocket.Scan("in"+sep, func(at string, b []byte) error {
		var r inRecord
		if err := json.Unmarshal(b, &r); err != nil {
			return err
		}
		if r.Session == nil {
			return nil
		}
		o := old{at, r.Session.RoomID, r.ID, r.Session.ReceivedAt, r.Session.SenderKey == own}
		switch {
		case o.isOwn:
			mine[o.room] = append(mine[o.room], o)
		case now.Sub(o.came) > sessionFor:
			list = append(list, o)
		}
		return nil
	})
	for _, ours := range mine {
		slices.SortFunc(ours, func(a, b old) int { return cmp.Compare(b.came.UnixNano(), a.came.UnixNano()) })
		for _, o := range ours[min(ownSessions, len(ours)):] {
			if now.Sub(o.came) > sessionFor {
				list = append(list, o)
			}
		}
	}
	return list, err
}

// forget forgets one session, unless somebody spoke in it lately.
func (s *store) forget(o old, now time.Time) (bool, error) {
	var notes []string
	lately := false
	err := s.scan(key("idx", string(o.id))+sep, func(at string, b []byte) error {
		notes = append(notes, at)
		lately = lately || now.Sub(readIndex(b).seen) < sessionFor
		return nil
	})
	if err != nil || lately {
		return false, err
	}
	for _, at := range append(notes, key("low", string(o.id))) {
		s.put(at, nil)
	}
	return true, s.set(o.at, inRecord{ID: o.id, Gone: true})
}

// pruneIndices forgets the lowest indices of sessions that have many, and notes that all
// so low are refused from now on.
func (s *store) pruneIndices(ctx context.Context) error {
	many, n := map[string]int{}, 0
	last := ""
	err := s.pocket.Scan("idx"+sep, func(at string, _ []byte) error {
		session := at[:strings.LastIndex(at, sep)+1]
		if session != last {
			last, n = session, 0
		}
		if n++; n > indicesEach {
			many[session] = n
		}
		return nil
	})
	if err != nil {
		return err
	}
	for session := range many {
		if err := s.together(ctx, func(context.Context) error { return s.raise(session) }); err != nil {
			return err
		}
	}
	return nil
}

// raise keeps the highest indices of a session; prefix is that of their keys.
func (s *store) raise(prefix string) error {
	var all []uint64
	err := s.scan(prefix, func(at string, _ []byte) error {
		n, err := strconv.ParseUint(strings.TrimPrefix(at, prefix), 10, 64)
		all = append(all, n)
		return err
	})
	if err != nil || len(all) <= indicesEach {
		return err
	}
	slices.Sort(all)
	low := all[len(all)-indicesEach]
	for _, n := range all[:len(all)-indicesEach] {
		s.put(prefix+strconv.FormatUint(n, 10), nil)
	}
	s.put("low"+sep+strings.TrimSuffix(strings.TrimPrefix(prefix, "idx"+sep), sep), strconv.AppendUint(nil, low, 10))
	return nil
}

// indexNote is what is noted of a message that was read: which event it was, and when.
type indexNote struct {
	event string // its time and id
	seen  time.Time
}

func (n indexNote) bytes() []byte {
	return strconv.AppendInt([]byte(n.event+" "), n.seen.Unix(), 10)
}

func readIndex(b []byte) indexNote {
	i := strings.LastIndexByte(string(b), ' ')
	if s, err := strconv.ParseInt(string(b[i+1:]), 10, 64); err == nil && i > 0 {
		return indexNote{string(b[:i]), time.Unix(s, 0)}
	}
	return indexNote{event: string(b)}
}

// ValidateMessageIndex tells whether a ciphertext is new, or that of the same
// event as before; a second event with it is a replay.
func (s *store) ValidateMessageIndex(_ context.Context, g id.SessionID, e id.EventID, index uint, ts int64) (bool, error) {
	at, mine := key("idx", string(g), strconv.FormatUint(uint64(index), 10)), strconv.FormatInt(ts, 10)+" "+string(e)
	b, err := s.get(at)
	if err != nil {
		return false, err
	}
	if b == nil {
		low, err := s.get(key("low", string(g)))
		if err != nil {
			return false, err
		}
		if least, err := strconv.ParseUint(string(low), 10, 64); err == nil && uint64(index) < least {
			return false, nil // it may have been read before
		}
	}
	switch {
	case e == "" && ts == 0:
		return b == nil, nil
	case b == nil:
		s.put(at, indexNote{mine, s.now()}.bytes())
		return true, nil
	}
	return readIndex(b).event == mine, nil
}

// errGone is the error of a session that was forgotten: its messages might have been
// read before.
var errGone = errors.New("matrix: a session of long ago")

var _ crypto.Store = (*store)(nil)
