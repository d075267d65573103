package storage

// always are the members that every entry has.
const always = 8

// Parse reads one entry. It takes only the bytes that Encode would give: every
// other spelling, an unknown member, a member missing or one too many is an
// *Invalid that names the rule. Args, Events and all texts are copies.
func Parse(b []byte) (Record, error) {
	if len(b) > MaxEntry {
		return Record{}, invalid(RuleJSON, "", "%d bytes, at most %d expected", len(b), MaxEntry)
	}
	p := parser{b: b, text: string(b)}
	if err := p.whole(); err != nil {
		if spelling := Canonical(b); spelling != nil { // what is wrong with the bytes comes first
			err = spelling
		}
		return Record{}, err
	}
	return p.r, nil
}

// parser reads an entry in one pass: it walks the canonical form and takes the members
// up as they come.
type parser struct {
	b      []byte // the reader's: nothing of it is kept
	text   string // the same: the texts of members are parts of it
	kept   []byte // copies of args and events, one after the other
	r      Record
	always int // how many of the members that every entry has were there
}

// whole reads the entry and checks all that it can break by itself.
func (p *parser) whole() error {
	if err := p.members(); err != nil {
		return err
	}
	if p.always != always {
		return invalid(RuleForm, "", "args, command, head, ledger, player, seq, time and v expected in every entry")
	}
	return p.r.checkMembers()
}

func (p *parser) members() error {
	s := scanner{b: p.b}
	if s.peek() != '{' {
		return invalid(RuleForm, "", "an object expected")
	}
	err := s.object(1, func(name []byte) error {
		end := s.i - len(`":`) // the scanner stands at the value
		return p.member(&s, p.text[end-len(name):end])
	})
	if err != nil {
		return err
	}
	return s.end()
}

// member reads the value of one member.
func (p *parser) member(s *scanner, name string) (err error) {
	r := &p.r
	switch name {
	case "args", "command", "head", "ledger", "player", "seq", "time", "v":
		p.always++
	}
	switch name {
	case "again":
		r.Again, err = parseAgain(p.value(s))
	case "args":
		start := s.i
		if err = s.object(2, func([]byte) error { return s.value(3) }); err != nil {
			return at("args", err)
		}
		r.Args = p.keep(start, s.i)
	case "command":
		r.Command, err = p.textOf(s, RuleForm, name)
	case "cut":
		r.Cut, err = p.textOf(s, RuleCut, name)
	case "draw":
		r.Draw, err = count(s, RuleDraw, name, 1)
	case "events":
		err = p.events(s)
	case "faces":
		r.Faces, err = faces(s)
	case "head":
		err = p.head(s)
	case "key":
		r.Key, err = p.textOf(s, RuleKey, name)
	case "ledger":
		r.Ledger, err = p.ledger(s)
	case "player":
		r.Player, err = p.textOf(s, RuleForm, name)
	case "seal":
		r.Seal, err = p.textOf(s, RuleSeal, name)
	case "seq":
		r.Seq, err = count(s, RuleSeq, name, 0)
	case "source":
		r.Source, err = p.textOf(s, RuleSource, name)
	case "time":
		var text string
		if text, err = p.textOf(s, RuleTime, name); err == nil {
			r.Time, err = ParseTime(text)
		}
	case "v":
		if string(p.value(s)) != "1" {
			err = invalid(RuleForm, name, "1 expected")
		}
	case "wait":
		r.Wait, err = parseWait(p.value(s))
	default:
		err = invalid(RuleForm, name, "no entry has this member")
	}
	return err
}

// keep copies an object, behind those before it where there is room.
func (p *parser) keep(from, to int) Object {
	const room = 256 // the args and events of nearly every roll
	if n := to - from; cap(p.kept)-len(p.kept) < n {
		p.kept = make([]byte, 0, max(room, n))
	}
	start := len(p.kept)
	p.kept = append(p.kept, p.b[from:to]...)
	return p.kept[start:len(p.kept):len(p.kept)]
}

// value steps over a value and gives it; nothing if it is none.
func (p *parser) value(s *scanner) []byte {
	start := s.i
	if err := s.value(2); err != nil {
		return nil
	}
	return p.b[start:s.i:s.i]
}

// textOf reads a text that is not empty: an empty one is left out. It is a part of the
// entry's own text, so that it costs nothing.
func (p *parser) textOf(s *scanner, rule, name string) (string, error) {
	start := s.i + 1
	raw, escaped, err := s.letters()
	if err != nil || len(raw) == 0 {
		return "", invalid(rule, name, "a text expected")
	}
	if escaped {
		return unescape(raw), nil
	}
	return p.text[start : start+len(raw)], nil
}

func (p *parser) head(s *scanner) error {
	text, err := p.textOf(s, RuleHead, "head")
	if err == nil && !isHex(text, len(p.r.Head)) {
		err = invalid(RuleHead, "head", "64 hex digits expected")
	}
	if err == nil {
		for i := range p.r.Head {
			p.r.Head[i] = hexValue[text[2*i]]<<4 | hexValue[text[2*i+1]]
		}
	}
	return err
}

func (p *parser) ledger(s *scanner) (LedgerID, error) {
	text, err := p.textOf(s, RuleLedger, "ledger")
	if err != nil {
		return LedgerID{}, err
	}
	l, err := ParseLedgerID(text)
	if err != nil {
		return l, invalid(RuleLedger, "ledger", "%.40q: 26 letters a-z and digits 2-7 expected", text)
	}
	return l, nil
}

// events reads the list of events, each an object that has a type.
func (p *parser) events(s *scanner) error {
	if s.peek() != '[' {
		return invalid(RuleForm, "events", "a list expected")
	}
	p.r.Events = make([]Object, 0, 2)
	return s.list(2, func() error {
		start, typed := s.i, false
		err := s.object(3, func(name []byte) error {
			typed = typed || string(name) == "type" && s.peek() == '"'
			return s.value(4)
		})
		if err == nil && !typed {
			err = invalid(RuleForm, "events", "event %d: a type expected", len(p.r.Events))
		}
		p.r.Events = append(p.r.Events, p.keep(start, s.i))
		return err
	})
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

// countOf reads a value that is a number from `least` on.
func countOf(rule, name string, value []byte, least int64) (uint64, error) {
	return count(&scanner{b: value}, rule, name, least)
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

// faces reads runs of dice, all of which share one list.
func faces(s *scanner) ([][]int, error) {
	runs, all, ok := make([][]int, 0, 2), make([]int, 0, 16), s.take('[')
	if ok && s.take(']') {
		return runs, nil
	}
	for ok && s.take('[') {
		start := len(all)
		for ok {
			n, err := s.number()
			if err != nil {
				return nil, noFaces()
			}
			all, ok = append(all, int(n)), s.take(',')
		}
		if runs = append(runs, all[start:len(all):len(all)]); !s.take(']') {
			break
		}
		if s.take(']') {
			return runs, nil
		}
		ok = s.take(',')
	}
	return nil, noFaces()
}

func noFaces() error {
	return invalid(RuleFaces, "faces", "a list of lists of numbers expected")
}

// count reads a number from `least` on.
func count(s *scanner, rule, name string, least int64) (uint64, error) {
	n, err := s.number()
	if err != nil || n < least {
		return 0, invalid(rule, name, "a number from %d expected", least)
	}
	return uint64(n), nil
}
