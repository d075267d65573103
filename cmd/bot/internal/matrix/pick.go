package matrix

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/chat"
)

// Bounds of what can be picked.
const (
	cardFor   = 30 * 24 * time.Hour
	mostCards = 2048
)

// card is what is remembered of a post of ours with choices: enough to know what
// a figure, a reply or a reaction means.
type card struct {
	Event   string // of the message that shows it
	Post    chat.PostID
	To      chat.Destination
	At      chat.Place // where it really stands: for one person, that is the direct room
	Entry   int64
	Binds   bool `json:",omitempty"`
	Choices []cardChoice
	Time    time.Time
}

type cardChoice struct {
	Number int
	Label  string
	Form   string `json:",omitempty"`
}

// cardOf makes the card of a post; ok is false if nothing can be picked on it.
func cardOf(p chat.Post, at chat.Place, now time.Time) (c card, ok bool) {
	c = card{Post: p.ID, To: p.To, At: at, Entry: p.Entry, Binds: p.Binds, Time: now}
	for _, one := range p.Choices {
		c.Choices = append(c.Choices, cardChoice{one.Number, label(one), one.Form})
	}
	return c, len(c.Choices) > 0
}

func (c card) seenBy(who chat.Person) bool { return c.To.Only == "" || c.To.Only == who }

func (c card) byNumber(n int) (cardChoice, bool) {
	i := slices.IndexFunc(c.Choices, func(o cardChoice) bool { return o.Number == n })
	if i < 0 {
		return cardChoice{}, false
	}
	return c.Choices[i], true
}

// read finds the choice that a text names, by label or number; what follows is
// for the choice's form, if it has one and rest may follow.
func (c card) read(text string, restToo bool) (choice cardChoice, rest string, ok bool) {
	said := strings.TrimSpace(text)
	for _, o := range c.Choices {
		for _, name := range []string{o.Label, strconv.Itoa(o.Number), fmt.Sprintf("[%d]", o.Number)} {
			if strings.EqualFold(strings.Join(strings.Fields(said), " "), strings.Join(strings.Fields(name), " ")) {
				return o, "", true
			}
			if n := len(name); restToo && o.Form != "" && len(said) > n && strings.EqualFold(said[:n], name) && !startsWord(said[n:]) {
				return o, strings.TrimSpace(strings.TrimLeft(said[n:], ":.,")), true
			}
		}
	}
	return cardChoice{}, "", false
}

// startsWord tells whether a text begins with a letter or a figure.
func startsWord(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.IsLetter(r) || unicode.IsDigit(r)
}

// cards are the posts whose choices can be picked, the oldest first.
type cards struct {
	keep *keep
	now  func() time.Time
	mu   sync.Mutex
	list []card
}

// openCards reads them.
func openCards(k *keep, now func() time.Time) (*cards, error) {
	c := &cards{keep: k, now: now}
	var old []string
	err := k.scan("card"+sep, func(at string, b []byte) error {
		var one card
		if err := json.Unmarshal(b, &one); err != nil {
			return fmt.Errorf("matrix: the pocket is damaged at %.40q: %w", at, err)
		}
		if now().Sub(one.Time) > cardFor {
			old = append(old, at)
			return nil
		}
		c.list = append(c.list, one)
		return nil
	})
	for _, at := range old {
		k.put(at, nil)
	}
	slices.SortStableFunc(c.list, func(a, b card) int { return cmp.Compare(a.Time.UnixNano(), b.Time.UnixNano()) })
	return c, err
}

// add remembers the card of an event; replaced is the post that it edits. A post
// without choices takes those of the one that it replaces away.
func (c *cards) add(one card, replaced chat.PostID) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.list = slices.DeleteFunc(c.list, func(o card) bool {
		gone := o.Event == one.Event || replaced != "" && o.Post == replaced
		if gone {
			c.keep.put(key("card", o.Event), nil)
		}
		return gone
	})
	if len(one.Choices) == 0 {
		return nil
	}
	c.list = append(c.list, one)
	if len(c.list) > mostCards {
		c.keep.put(key("card", c.list[0].Event), nil)
		c.list = c.list[1:]
	}
	return c.keep.set(key("card", one.Event), one)
}

// on is the card that an event shows.
func (c *cards) on(event string) (card, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, o := range c.list {
		if o.Event == event {
			return o, true
		}
	}
	return card{}, false
}

// last is the newest card that somebody sees in a place.
func (c *cards) last(at chat.Place, who chat.Person) (card, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, o := range slices.Backward(c.list) {
		if o.At == at && o.seenBy(who) {
			return o, true
		}
	}
	return card{}, false
}

// pick reads a message as a choice: of the post that it replies to, or, as a
// number or label alone, of the last post there. With addressed a form's text may
// follow there too.
func (c *cards) pick(m chat.Message, replied string, text string, addressed bool) (o card, t chat.Tap, ok bool) {
	if len(m.Files) > 0 {
		return o, t, false
	}
	if replied != "" {
		if o, ok = c.on(replied); ok && !o.seenBy(m.Person) {
			return o, t, false
		}
	} else {
		o, ok = c.last(m.Place, m.Person)
	}
	if !ok {
		return o, t, false
	}
	if addressed {
		if command := strings.TrimPrefix(m.Text, "/"); command != m.Text && !onlyFigures(command) {
			return o, t, false // a command is a command
		}
		text = strings.TrimPrefix(m.Text, "/")
	}
	choice, rest, ok := o.read(text, replied != "" || addressed)
	return o, chat.Tap{Post: o.Post, Number: choice.Number, Text: rest}, ok
}

// onlyFigures tells whether the first word of a text is a number.
func onlyFigures(s string) bool {
	first, _, _ := strings.Cut(strings.TrimSpace(s), " ")
	return first != "" && strings.Trim(first, "0123456789") == ""
}
