package chattest

import (
	"testing"

	"drumhead/commands/chat"
)

func TestPocket(t *testing.T) {
	p := NewPocket()
	ConformPocket(t, func(*testing.T) (chat.Pocket, func()) { return p, func() {} })
	if n := p.Commits(); n != 3 {
		t.Errorf("%d commits were counted, expected 3", n)
	}
}
