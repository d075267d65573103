// Package source reads the TOML text of a pack, a force or a campaign so that
// every fault can be shown at its line and column, all faults of a file at
// once. go-toml judges the grammar; the tree with its places is built here.
//
// A reader asks a Table for the keys it knows, one by one, and closes it: what
// was never asked for is an unknown key. Each asking method notes a fault and
// gives a harmless value when the file is wrong, so that reading goes on.
package source

import (
	"bytes"
	"errors"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"drumhead/engine/reason"
)

// MostDepth is how deep tables and lists may stand in one another.
const MostDepth = 16

// Place is where something stands in a file: line and column (in characters),
// both from 1. The zero Place is the file as a whole.
type Place struct{ Line, Column int }

// before orders places as one reads.
func (p Place) before(q Place) bool {
	return p.Line < q.Line || p.Line == q.Line && p.Column < q.Column
}

// Read checks size (at most most bytes), UTF-8, control characters and grammar
// of a TOML text and gives its root table. The error is a *Faults with exactly
// one fault; later faults are noted at the tables and collected by Faults.
func Read(name string, text []byte, most int) (*Table, error) {
	log := &log{name: name}
	if f, bad := unreadable(text, most); bad {
		log.note(f.Place, f.Reason)
		return nil, log.faults()
	}
	var whole map[string]any
	if err := toml.Unmarshal(text, &whole); err != nil {
		log.note(grammar(err))
		return nil, log.faults()
	}
	root, err := grow(log, text)
	if err != nil {
		return nil, err
	}
	return root, nil
}

// unreadable finds what keeps a text from being parsed at all.
func unreadable(text []byte, most int) (Fault, bool) {
	if len(text) > most {
		return Fault{Reason: reason.New("file.big", "size", kilobytes(len(text)), "most", kilobytes(most))}, true
	}
	lines := newLines(text)
	if at := firstInvalid(text); at >= 0 {
		return Fault{lines.place(at), reason.New("file.utf8")}, true
	}
	if at := bytes.IndexFunc(text, isControl); at >= 0 {
		return Fault{lines.place(at), reason.New("file.control", "code", int(text[at]))}, true
	}
	return Fault{}, false
}

// kilobytes rounds up, so that a file just over its limit does not seem to fit.
func kilobytes(size int) int { return (size + 1023) / 1024 }

// isControl holds for what no text file needs: all controls but tab and line ends.
func isControl(r rune) bool {
	return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f
}

// firstInvalid is the offset of the first byte that is not UTF-8, or -1.
func firstInvalid(text []byte) int {
	for at := 0; at < len(text); {
		r, size := utf8.DecodeRune(text[at:])
		if r == utf8.RuneError && size == 1 {
			return at
		}
		at += size
	}
	return -1
}

// grammar turns go-toml's error into a fault. A key given twice has its own
// words; the rest is shown in the library's.
func grammar(err error) (Place, reason.Reason) {
	var decode *toml.DecodeError
	if !errors.As(err, &decode) {
		return Place{}, reason.New("file.syntax", "what", strings.TrimPrefix(err.Error(), "toml: "))
	}
	line, column := decode.Position()
	what := strings.TrimPrefix(decode.Error(), "toml: ")
	return Place{line, column}, reason.New("file.syntax", "what", what)
}
