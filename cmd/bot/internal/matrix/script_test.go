//go:build goolm

package matrix

import (
	"testing"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// TestAnotherClientShowsNoShield: matrix-js-sdk reads the answer in an encrypted
// room and has nothing to warn of.
func TestAnotherClientShowsNoShield(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	b.echoes()
	ann := s.Scripted("ann")
	fen := ann.Room(true, string(b.user))
	ann.Say(fen, "!roll 3d6")
	e := ann.Await("the answer", func(e matrixtest.Seen) bool { return e.Sender == string(b.user) && e.Body() == "/ROLL 3D6" })
	if !e.Encrypted || e.Failed || e.Colour != 0 {
		t.Errorf("shown as %+v", e)
	}
}
