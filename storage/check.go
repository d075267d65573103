package storage

import (
	"strconv"
	"strings"
	"time"
)

// check tells whether a record keeps all rules that one entry can break by
// itself: spelling of every member, and which of them go together.
func (r *Record) check() error {
	if err := r.checkMembers(); err != nil {
		return err
	}
	return r.checkObjects()
}

// checkMembers is check without what commands say for themselves, which whoever reads
// an entry has looked at already.
func (r *Record) checkMembers() error {
	if r.Seq > MaxNumber {
		return invalid(RuleSeq, "seq", "at most 2^53-1 expected")
	}
	if r.Time.Nanosecond()%int(time.Millisecond) != 0 || r.Time.UTC().Year() < 0 || r.Time.UTC().Year() > 9999 {
		return invalid(RuleTime, "time", "whole milliseconds of the years 0 to 9999 expected")
	}
	if r.Player != Bot && !isPlayer(r.Player) {
		return invalid(RuleForm, "player", "%.20q: bot, or p1, p2, … expected", r.Player)
	}
	if !isCommand(r.Command) {
		return invalid(RuleForm, "command", "%.40q: words of a-z and 0-9 joined by dots expected", r.Command)
	}
	if r.Source != "" && !isHex(r.Source, 16) {
		return invalid(RuleSource, "source", "32 hex digits expected")
	}
	if err := r.checkDraw(); err != nil {
		return err
	}
	if err := r.checkWait(); err != nil {
		return err
	}
	if err := r.checkFaces(); err != nil {
		return err
	}
	return r.together()
}

// checkObjects looks at what commands say for themselves: args and events.
func (r *Record) checkObjects() error {
	if err := isObject(r.Args, 2, nil); err != nil {
		return at("args", err)
	}
	for i, e := range r.Events {
		typed := false
		err := isObject(e, 3, func(name, value []byte) { typed = typed || string(name) == "type" && value[0] == '"' })
		if err != nil {
			return at("events."+strconv.Itoa(i), err)
		}
		if !typed {
			return invalid(RuleForm, "events", "event %d: a type expected", i)
		}
	}
	return nil
}

// isObject tells whether b is one canonical object; member sees its members.
func isObject(b []byte, depth int, member func(name, value []byte)) error {
	s := scanner{b: b}
	if s.peek() != '{' {
		return invalid(RuleForm, "", "an object expected")
	}
	err := s.object(depth, func(name []byte) error {
		start := s.i
		err := s.value(depth + 1)
		if err == nil && member != nil {
			member(name, b[start:s.i])
		}
		return err
	})
	if err != nil {
		return err
	}
	return s.end()
}

func (r *Record) checkDraw() error {
	switch {
	case r.Seal != "" && !isHex(r.Seal, 32):
		return invalid(RuleSeal, "seal", "64 hex digits expected")
	case r.Draw > LongestSeal:
		return invalid(RuleDraw, "draw", "%d: 1 to %d expected", r.Draw, LongestSeal)
	case r.Key != "" && !isHex(r.Key, 32):
		return invalid(RuleKey, "key", "64 hex digits expected")
	case r.Cut != "" && !isCut(r.Cut):
		return invalid(RuleCut, "cut", "%.100q: none, beacon:ROUND:HEX or word:HEX expected", r.Cut)
	case r.Again != nil && (r.Again.After < 0 || r.Again.After > MostDice || r.Again.Of > MaxNumber):
		return invalid(RuleForm, "again", "after 0 to %d dice expected", MostDice)
	}
	return nil
}

func (r *Record) checkWait() error {
	w := r.Wait
	switch {
	case w == nil:
		return nil
	case w.By == "":
		if w.Round == 0 || w.Round > MaxNumber || !w.Until.IsZero() {
			return invalid(RuleForm, "wait", "a round from 1, or by and until, expected")
		}
	case w.Round != 0 || w.Until.Nanosecond()%int(time.Millisecond) != 0:
		return invalid(RuleForm, "wait", "a round, or by and until in whole milliseconds, expected")
	case !isPlayer(w.By):
		return invalid(RuleForm, "wait", "by %.20q: p1, p2, … expected", w.By)
	case w.Until.UTC().Year() < 0 || w.Until.UTC().Year() > 9999:
		return invalid(RuleForm, "wait", "until a time of the years 0 to 9999 expected")
	}
	return nil
}

// checkFaces looks at the spelling of the dice: sides, then faces from 1 to
// sides; neighbouring runs of different sides, none empty.
func (r *Record) checkFaces() error {
	dice := 0
	for i, run := range r.Faces {
		if len(run) < 2 || run[0] < 2 || run[0] > MostSides {
			return invalid(RuleFaces, "faces", "run %d: 2 to %d sides and at least one die expected", i, MostSides)
		}
		if i > 0 && r.Faces[i-1][0] == run[0] {
			return invalid(RuleFaces, "faces", "run %d: other sides than the run before expected", i)
		}
		for _, face := range run[1:] {
			if face < 1 || face > run[0] {
				return invalid(RuleFaces, "faces", "run %d: %d is no face of %d sides", i, face, run[0])
			}
		}
		dice += len(run) - 1
	}
	if dice > MostDice {
		return invalid(RuleFaces, "faces", "%d dice: at most %d expected", dice, MostDice)
	}
	return nil
}

// Members that can stand in an entry besides those that always do.
const (
	hasSeal = 1 << iota
	hasDraw
	hasWait
	hasCut
	hasKey
	hasFaces
	hasAgain
	hasEvents
)

func (r *Record) has() (set int) {
	add := func(there bool, member int) {
		if there {
			set |= member
		}
	}
	add(r.Seal != "", hasSeal)
	add(r.Draw != 0, hasDraw)
	add(r.Wait != nil, hasWait)
	add(r.Cut != "", hasCut)
	add(r.Key != "", hasKey)
	add(r.Faces != nil, hasFaces)
	add(r.Again != nil, hasAgain)
	add(r.Events != nil, hasEvents)
	return set
}

// together tells whether the members that stand in the entry go together.
func (r *Record) together() error {
	set := r.has()
	fits := func(sets ...int) error {
		for _, s := range sets {
			if s == set {
				return nil
			}
		}
		return invalid(RuleForm, "", "%s: these members of a draw do not go together", r.Command)
	}
	switch {
	case r.Command == "cut":
		return fits(hasCut|hasFaces|hasEvents, hasCut|hasKey|hasFaces|hasEvents)
	case r.Command == "wait":
		if r.Wait != nil && r.Wait.By != "" {
			return invalid(RuleForm, "wait", "a round expected")
		}
		return fits(hasWait, hasWait|hasKey, hasWait|hasEvents, hasWait|hasKey|hasEvents)
	case r.Command == "void":
		return fits(0, hasKey, hasEvents, hasKey|hasEvents)
	case r.Again != nil:
		return fits(hasAgain | hasFaces | hasEvents)
	case strings.HasPrefix(r.Command, "ledger."), strings.HasPrefix(r.Command, "seal."):
		return fits(0, hasEvents)
	case r.Wait != nil && r.Wait.By != "":
		return fits(hasSeal | hasDraw | hasWait)
	case r.Wait != nil:
		return fits(hasSeal | hasDraw | hasWait | hasKey)
	}
	return fits(0, hasEvents, hasSeal|hasDraw|hasCut|hasKey|hasFaces|hasEvents)
}

// isPlayer tells whether s is the pseudonym of a person: p1, p2, ….
func isPlayer(s string) bool {
	n, ok := strings.CutPrefix(s, "p")
	return ok && isCount(n)
}

// isCount tells whether s is a whole number from 1, in its one spelling.
func isCount(s string) bool {
	n, err := strconv.ParseUint(s, 10, 53)
	return err == nil && n > 0 && strconv.FormatUint(n, 10) == s
}

// isCommand tells whether s is words joined by dots.
func isCommand(s string) bool {
	for word := range strings.SplitSeq(s, ".") {
		if !isName(word) {
			return false
		}
	}
	return true
}

func isCut(s string) bool {
	if s == "none" {
		return true
	}
	if word, ok := strings.CutPrefix(s, "word:"); ok {
		return isHex(word, 32)
	}
	rest, ok := strings.CutPrefix(s, "beacon:")
	round, hash, _ := strings.Cut(rest, ":")
	return ok && isCount(round) && isHex(hash, 32)
}
