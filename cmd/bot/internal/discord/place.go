package discord

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumhead/commands/chat"

	"github.com/bwmarrin/discordgo"
)

// made is a picture or a file of a post, drawn or written.
type made struct {
	name  string
	alt   string // "" for a file
	bytes []byte
}

// asText is the file that a post becomes which is too long for a message.
const asText = "post.txt"

// parcel is a post on its way to a place, which loses weight until Discord
// takes it.
type parcel struct {
	post  chat.Post
	files []made
	words string // in the place of the post's text; "" for that
}

// message is the body that the parcel has now.
func (p parcel) message() message {
	m := compose(p.post)
	if p.words != "" {
		m.Content = p.words
	}
	for i, f := range p.files[:min(len(p.files), mostFiles)] {
		m.Attachments = append(m.Attachments, attachment{strconv.Itoa(i), f.name, cutTo(harmless(f.alt), mostAlt)})
	}
	return m
}

func (p parcel) upload() []*discordgo.File {
	var out []*discordgo.File
	for _, f := range p.files[:min(len(p.files), mostFiles)] {
		out = append(out, &discordgo.File{Name: f.name, ContentType: http.DetectContentType(f.bytes), Reader: bytes.NewReader(f.bytes)})
	}
	return out
}

// packed makes a parcel. A text that is too long goes as a file, whole, behind
// its first line: a table is never broken in two.
func packed(p chat.Post, files []made) parcel {
	out := parcel{post: p, files: files}
	if fits(text(p)) {
		return out
	}
	const firstLine = 300 // characters before they are escaped
	first := ""
	if len(p.Lines) > 0 {
		first = escape(cutTo(bare(p.Lines[0], inFile), firstLine))
	}
	out.words = strings.TrimSpace(strings.Join(append([]string{first}, unnamed(chat.Post{Notify: p.Notify})...), "\n"))
	out.files = append([]made{{name: asText, bytes: []byte(asFile(p))}}, files...)
	return out
}

// smaller leaves pictures and files away; the words of a picture stay.
func (p parcel) smaller() parcel {
	p.post.Lines = slices.Clone(p.post.Lines)
	for _, f := range p.files {
		if f.alt != "" {
			p.post.Lines = append(p.post.Lines, chat.Line{{Kind: chat.Said, Text: f.alt}})
		}
	}
	p.files = nil
	if p.words == "" && !fits(text(p.post)) {
		p.words = packed(p.post, nil).words
	}
	return p
}

// plainer leaves away files and what people wrote.
func (p parcel) plainer() parcel {
	lines := make([]chat.Line, len(p.post.Lines))
	for i, l := range p.post.Lines {
		lines[i] = slices.Clone(l)
		for j := range lines[i] {
			if lines[i][j].Kind == chat.Said {
				lines[i][j].Text = "…"
			}
		}
	}
	p.post.Lines, p.files = lines, nil
	if p.words != "" {
		p.words = "…"
	}
	return p
}

// receipt is what Discord says of a message that is there.
type receipt struct {
	ID string `json:"id"`
}

func (r receipt) receipt() chat.Receipt { return chat.Receipt{Ref: r.ID, Time: created(r.ID)} }

// remedies is how often a parcel is changed before it is given up for now.
const remedies = 3

// send brings a post to a channel, once: the same post in the same place gives
// the same message, as long as Discord remembers its nonce. Errors wrap
// chat.ErrLater, chat.ErrGone or chat.ErrMuted.
func (w *wires) send(ctx context.Context, in string, p chat.Post, files []made) (chat.Receipt, error) {
	done, err := w.turns.take(ctx, in)
	if err != nil {
		return chat.Receipt{}, err
	}
	defer done()
	return w.deliver(ctx, in, packed(p, files), call{method: http.MethodPost, path: "channels/" + in + "/messages", safe: true})
}

// edit replaces a message of ours. One that cannot be edited any more is sent
// anew; its receipt then has another Ref.
func (w *wires) edit(ctx context.Context, in, ref string, p chat.Post, files []made) (chat.Receipt, error) {
	done, err := w.turns.take(ctx, in)
	if err != nil {
		return chat.Receipt{}, err
	}
	defer done()
	return w.deliver(ctx, in, packed(p, files), call{method: http.MethodPatch, path: "channels/" + in + "/messages/" + ref})
}

// deliver makes a call with a parcel until it is taken or no remedy is left.
func (w *wires) deliver(ctx context.Context, in string, p parcel, c call) (chat.Receipt, error) {
	for n := 0; ; n++ {
		m := p.message()
		if c.method == http.MethodPost {
			m.Nonce, m.Enforce = nonce(placeOf(in), p.post.ID), true
		} else {
			m.Flags &^= quietly // an edit rings no telephone
		}
		c.body, c.files = m, p.upload()
		var r receipt
		err := w.api.do(ctx, c, &r)
		if err == nil {
			return r.receipt(), nil
		}
		o := outcomeOf(err, c)
		w.Log.Warn("Discord did not take a post", "post", p.post.ID, "channel", in, "outcome", string(o), "error", err)
		switch {
		case o == taken: // and deleted since
			return chat.Receipt{Ref: nonce(placeOf(in), p.post.ID), Time: time.Now()}, nil
		case n == remedies:
			return chat.Receipt{}, fmt.Errorf("%w: %w", o.fault(), err)
		case o == anew && c.method == http.MethodPatch:
			c = call{method: http.MethodPost, path: "channels/" + in + "/messages", safe: true}
		case o == smaller:
			p = p.smaller()
		case o == plainer:
			p = p.plainer()
		case o == reopened:
			if err := w.reopen(ctx, in); err != nil {
				return chat.Receipt{}, fmt.Errorf("%w: %w", outcomeOf(err, c).fault(), err)
			}
		default:
			return chat.Receipt{}, fmt.Errorf("%w: %w", o.fault(), err)
		}
	}
}

// reopen takes a thread out of the archive; its maker may, unless it is locked.
func (w *wires) reopen(ctx context.Context, thread string) error {
	return w.api.do(ctx, call{method: http.MethodPatch, path: "channels/" + thread, body: struct {
		Archived bool `json:"archived"`
	}{false}}, nil)
}

// direct is the channel between the bot and a person.
func (w *wires) direct(ctx context.Context, person string) (string, error) {
	var r receipt
	err := w.api.do(ctx, call{method: http.MethodPost, safe: true, path: "users/@me/channels", body: struct {
		Recipient string `json:"recipient_id"`
	}{person}}, &r)
	if err != nil {
		return "", fmt.Errorf("%w: %w", outcomeOf(err, call{}).fault(), err)
	}
	return r.ID, nil
}
