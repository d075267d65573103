//go:build goolm

package matrix

import (
	"testing"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// TestConform holds the adapter to what every adapter must do, in encrypted rooms
// on a real homeserver.
func TestConform(t *testing.T) {
	chattest.Conform(t, "weir.toml", func(t *testing.T, d chat.Desk) chattest.Stage {
		s := matrixtest.New(t)
		var stage *matrixtest.Stage
		b := newBot(t, s, func(b *bot) {
			stage = matrixtest.NewStage(s, b.user)
			b.hears = stage.Desk(d)
		})
		stage.Open = func(string) ([]byte, error) { return []byte(chattest.File), nil }
		stage.Use(b.Adapter)
		return stage
	})
}
