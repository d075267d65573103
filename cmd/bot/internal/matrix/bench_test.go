//go:build goolm

package matrix

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// BenchmarkAnswer is how long a message in an encrypted room waits for its answer,
// as a ratio to a bare mautrix bot that says everything back in the same room.
// Their questions take turns, so that both meet the same homeserver.
func BenchmarkAnswer(b *testing.B) {
	s := matrixtest.New(b)
	bot := newBot(b, s)
	bot.echoes()
	ann, bare := s.Join("ann"), s.Join("bare")
	fen := ann.Room(true, bot.user, bare.Cli.UserID)
	ann.AwaitMembers(fen, 3)
	bare.AwaitMembers(fen, 3)
	bare.Echo(func(e *event.Event) string {
		text, ok := strings.CutPrefix(matrixtest.Body(e), "bare ")
		if !ok || e.Sender == bare.Cli.UserID {
			return ""
		}
		return "said " + text
	})
	ask := func(text, answer string) time.Duration {
		start := time.Now()
		ann.Say(fen, text)
		ann.Await(answer, func(e *event.Event) bool { return matrixtest.Body(e) == answer })
		return time.Since(start)
	}
	var ours, theirs []time.Duration
	n := 0
	for b.Loop() {
		n++
		one, two := ask(fmt.Sprintf("!q %d", n), fmt.Sprintf("/Q %d", n)), ask(fmt.Sprintf("bare %d", n), fmt.Sprintf("said %d", n))
		if n > 3 { // the first make keys
			ours, theirs = append(ours, one), append(theirs, two)
		}
	}
	if len(ours) == 0 {
		return
	}
	slices.Sort(ours)
	slices.Sort(theirs)
	b.ReportMetric(float64(ours[len(ours)/2])/float64(theirs[len(theirs)/2]), "×bare")
}
