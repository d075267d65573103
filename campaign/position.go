package campaign

import (
	"strconv"

	"github.com/pelletier/go-toml/v2/unstable"
)

// positions tells where in a file each thing stands, so that a fault of meaning
// can be shown at its line just as one of spelling. Keys are written as
// "title", "region/3/x", "experience/fought"; numbers count from 0.
type positions map[string]unstable.Position

// locate walks a file that is known to be good TOML.
func locate(b []byte) positions {
	at := positions{}
	count := map[string]int{}
	var p unstable.Parser
	p.Reset(b)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table:
			table = at.key(&p, "", e)
		case unstable.ArrayTable:
			name := at.key(&p, "", e)
			table = name + "/" + strconv.Itoa(count[name])
			at[table] = at[name]
			count[name]++
		case unstable.KeyValue:
			at.pair(&p, table, e)
		}
	}
	return at
}

// key notes where a key stands and gives its full name.
func (at positions) key(p *unstable.Parser, under string, e *unstable.Node) string {
	name := under
	var first *unstable.Node
	for it := e.Key(); it.Next(); {
		if first == nil {
			first = it.Node()
		}
		if name != "" {
			name += "/"
		}
		name += string(it.Node().Data)
	}
	at[name] = p.Shape(first.Raw).Start
	return name
}

// pair notes a key and what stands inside its value.
func (at positions) pair(p *unstable.Parser, under string, e *unstable.Node) {
	name := at.key(p, under, e)
	at.inside(p, name, e.Value())
}

func (at positions) inside(p *unstable.Parser, name string, v *unstable.Node) {
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			at.pair(p, name, it.Node())
		}
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			part := name + "/" + strconv.Itoa(i)
			at.inside(p, part, it.Node())
			at[part] = at.first(p, it.Node(), at[name])
		}
	}
}

// first is where the first key of an inline table stands, else the fallback.
func (at positions) first(p *unstable.Parser, v *unstable.Node, fallback unstable.Position) unstable.Position {
	if v.Kind != unstable.InlineTable || v.Child() == nil {
		return fallback
	}
	for it := v.Child().Key(); it.Next(); {
		return p.Shape(it.Node().Raw).Start
	}
	return fallback
}
