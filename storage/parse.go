package storage

import "encoding/hex"

// always are the members that every entry has.
const always = 8

// Parse reads one entry. It takes only the bytes that Encode would give: every
// other spelling, an unknown member, a member missing or one too many is an
// *Invalid that names the rule. Args, Events and all texts are copies.
func Parse(b []byte) (Record, error) {
	if len(b) > MaxEntry {
		return Record{}, invalid(RuleJSON, "", "%d bytes, at most %d expected", len(b), MaxEntry)
	}
	if err := Canonical(b); err != nil {
		return Record{}, err
	}
	p := parser{b: append([]byte(nil), b...)}
	if err := p.members(); err != nil {
		return Record{}, err
	}
	if p.always != always {
		return Record{}, invalid(RuleForm, "", "args, command, head, ledger, player, seq, time and v expected in every entry")
	}
	return p.r, p.r.check()
}

// parser reads the members of an entry that is known to be canonical.
type parser struct {
	b      []byte
	r      Record
	always int // how many of the members that every entry has were there
}

func (p *parser) members() error {
	s := scanner{b: p.b}
	if s.peek() != '{' {
		return invalid(RuleForm, "", "an object expected")
	}
	return s.object(1, func(name []byte) error {
		start := s.i
		if err := s.value(2); err != nil {
			return err
		}
		return p.member(name, s.b[start:s.i:s.i])
	})
}

// member reads one member; its value is canonical.
func (p *parser) member(member, value []byte) (err error) {
	r, name := &p.r, string(member)
	switch name {
	case "args", "command", "head", "ledger", "player", "seq", "time", "v":
		p.always++
	}
	switch name {
	case "again":
		r.Again, err = parseAgain(value)
	case "args":
		r.Args = value
	case "command":
		r.Command, err = textOf(RuleForm, name, value)
	case "cut":
		r.Cut, err = textOf(RuleCut, name, value)
	case "draw":
		r.Draw, err = countOf(RuleDraw, name, value, 1)
	case "events":
		r.Events, err = parseEvents(value)
	case "faces":
		r.Faces, err = parseFaces(value)
	case "head":
		r.Head, err = parseHash(RuleHead, name, value)
	case "key":
		r.Key, err = textOf(RuleKey, name, value)
	case "ledger":
		r.Ledger, err = parseLedger(value)
	case "player":
		r.Player, err = textOf(RuleForm, name, value)
	case "seal":
		r.Seal, err = textOf(RuleSeal, name, value)
	case "seq":
		r.Seq, err = countOf(RuleSeq, name, value, 0)
	case "source":
		r.Source, err = textOf(RuleSource, name, value)
	case "time":
		var text string
		if text, err = textOf(RuleTime, name, value); err == nil {
			r.Time, err = ParseTime(text)
		}
	case "v":
		if string(value) != "1" {
			err = invalid(RuleForm, name, "1 expected")
		}
	case "wait":
		r.Wait, err = parseWait(value)
	default:
		err = invalid(RuleForm, name, "no entry has this member")
	}
	return err
}

// textOf reads a text that is not empty: an empty one is left out.
func textOf(rule, name string, value []byte) (string, error) {
	s := scanner{b: value}
	text, err := s.text()
	if err != nil || text == "" {
		return "", invalid(rule, name, "a text expected")
	}
	return text, nil
}

// countOf reads a number from `least` on.
func countOf(rule, name string, value []byte, least int64) (uint64, error) {
	s := scanner{b: value}
	n, err := s.number()
	if err != nil || n < least {
		return 0, invalid(rule, name, "a number from %d expected", least)
	}
	return uint64(n), nil
}

func parseHash(rule, name string, value []byte) (h Hash, err error) {
	text, err := textOf(rule, name, value)
	if err == nil && !isHex(text, len(h)) {
		err = invalid(rule, name, "64 hex digits expected")
	}
	if err == nil {
		_, err = hex.Decode(h[:], []byte(text))
	}
	return h, err
}

func parseLedger(value []byte) (LedgerID, error) {
	text, err := textOf(RuleLedger, "ledger", value)
	if err != nil {
		return LedgerID{}, err
	}
	l, err := ParseLedgerID(text)
	if err != nil {
		return l, invalid(RuleLedger, "ledger", "%.40q: 26 letters a-z and digits 2-7 expected", text)
	}
	return l, nil
}

func parseAgain(value []byte) (*Again, error) {
	a, seen := &Again{}, 0
	err := isObject(value, 2, func(name, value []byte) {
		n, err := countOf(RuleForm, "again", value, 0)
		switch {
		case err != nil || n > MaxNumber:
		case string(name) == "of":
			a.Of, seen = n, seen+1
		case string(name) == "after" && n <= MostDice:
			a.After, seen = int(n), seen+1
		default:
			seen += 10
		}
	})
	if err != nil || seen != 2 {
		return nil, invalid(RuleForm, "again", `{"after":DICE,"of":ENTRY} expected`)
	}
	return a, nil
}

func parseWait(value []byte) (*Wait, error) {
	w, names, bad := &Wait{}, "", false
	err := isObject(value, 2, func(name, value []byte) {
		var err error
		switch names += string(name) + " "; string(name) {
		case "by":
			w.By, err = textOf(RuleForm, "wait", value)
		case "round":
			w.Round, err = countOf(RuleForm, "wait", value, 1)
		case "until":
			var text string
			if text, err = textOf(RuleForm, "wait", value); err == nil {
				w.Until, err = ParseTime(text)
			}
		}
		bad = bad || err != nil
	})
	if err != nil || bad || names != "round " && names != "by until " {
		return nil, invalid(RuleForm, "wait", `{"round":ROUND} or {"by":PLAYER,"until":TIME} expected`)
	}
	return w, nil
}

func parseEvents(value []byte) ([]Object, error) {
	s := scanner{b: value}
	if s.peek() != '[' {
		return nil, invalid(RuleForm, "events", "a list expected")
	}
	events := []Object{}
	return events, s.list(2, func() error {
		start := s.i
		if err := s.value(3); err != nil {
			return err
		}
		events = append(events, value[start:s.i:s.i])
		return nil
	})
}

func parseFaces(value []byte) ([][]int, error) {
	s := scanner{b: value}
	faces := [][]int{}
	err := s.list(2, func() error {
		var run []int
		err := s.list(3, func() error {
			n, err := s.number()
			run = append(run, int(n))
			return err
		})
		faces = append(faces, run)
		return err
	})
	if err != nil {
		return nil, invalid(RuleFaces, "faces", "a list of lists of numbers expected")
	}
	return faces, nil
}
