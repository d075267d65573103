package discord

import (
	"context"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// gated is a desk that lets nobody through in a place before its gate opens.
type gated struct {
	answerer
	heard chattest.Desk
	place chat.Place
	open  chan struct{}
}

func (g *gated) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	if _, err := g.heard.Handle(ctx, m); err != nil {
		return nil, err
	}
	if m.Place == g.place {
		select {
		case <-g.open:
		case <-ctx.Done():
		}
	}
	return g.answerer.Handle(ctx, m)
}

// Complete takes as long as the gate is shut.
func (g *gated) Complete(ctx context.Context, m chat.Message) []chat.Suggestion {
	<-g.open
	return g.heard.Complete(ctx, m)
}

func ask(p *player, who discordtest.Who) *discordtest.Interaction {
	return p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
}

// One who floods the bot takes no more than a share of it: somebody else is answered in
// the middle of that, and the log tells of it once.
func TestFloodOfOne(t *testing.T) {
	t.Parallel()
	d := &gated{open: make(chan struct{})}
	p := play(t, discordtest.Options{}, d)
	ann := p.ann()
	d.place = placeOf(ann.Channel)
	for range 2 * mostOfOne {
		ask(p, ann)
	}
	other := p.Server.ID()
	p.Server.Add(discordtest.Channel{ID: other, Guild: ann.Guild, Name: "weir"})
	bo := discordtest.Who{ID: p.Server.ID(), Name: "Bo", Guild: ann.Guild, Channel: other}
	if a := ask(p, bo).Answer(t.Context()); a.Type != discordtest.AnswerMessage {
		t.Errorf("somebody else is answered with %+v", a)
	}
	close(d.open)
	p.Server.Until("her share is answered", func() bool { return len(p.Server.Messages(ann.Channel)) >= mostOfOne })
	ask(p, ann).Answer(t.Context()) // and there is room again
	heard := 0
	for _, m := range d.heard.Heard() {
		if m.Person == chat.Person("discord:"+ann.ID) {
			heard++
		}
	}
	if heard != mostOfOne+1 {
		t.Errorf("the desk heard her %d times, expected %d", heard, mostOfOne+1)
	}
	if n := strings.Count(p.log.String(), "more is asked"); n != 1 {
		t.Errorf("the log tells of it %d times", n)
	}
}

// What waited for its turn so long that nobody can answer it any more rolls nothing: its
// person was told that it failed, and says it again.
func TestWaitedTooLong(t *testing.T) {
	t.Parallel()
	now := newHours()
	d := &gated{open: make(chan struct{})}
	p := play(t, discordtest.Options{Now: now.now}, d)
	ann := p.ann()
	d.place = placeOf(ann.Channel)
	ask(p, ann)
	p.Server.Until("the first is worked on", func() bool { return len(d.heard.Heard()) == 1 })
	late := ask(p, ann)
	p.Server.Until("it has arrived", func() bool {
		p.bot.mu.Lock()
		defer p.bot.mu.Unlock()
		return len(p.bot.before) == 2
	})
	now.pass(answerWithin + time.Second)
	close(d.open)
	p.Server.Until("it was dropped", func() bool { return strings.Contains(p.log.String(), "rolled nothing") })
	ask(p, ann).Answer(t.Context())
	if n := len(d.heard.Heard()); n != 1 {
		t.Errorf("the desk heard %d messages more, expected the last alone", n)
	}
	if a, yes := late.Answered(); yes {
		t.Errorf("what came too late was answered with %+v", a)
	}
}

// What is not in memory yet is not waited for: nothing is offered, in time, and the next
// letter is completed.
func TestCompletionDoesNotWait(t *testing.T) {
	t.Parallel()
	d := &gated{open: make(chan struct{})}
	p := play(t, discordtest.Options{}, d)
	offered := func() []any {
		a := p.Server.Do(p.ann(), discordtest.Autocomplete, map[string]any{"id": "1", "name": "unit", "type": 1,
			"options": []any{map[string]any{"name": "name", "type": 3, "value": "Pik", "focused": true}}}).Answer(t.Context())
		list, _ := a.Data["choices"].([]any)
		return list
	}
	if got := offered(); len(got) != 0 {
		t.Errorf("offered %v from nowhere", got)
	}
	close(d.open)
	if got := offered(); len(got) != 1 {
		t.Errorf("offered %v", got)
	}
}
