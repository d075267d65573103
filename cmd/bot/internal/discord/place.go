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
// takes it. A text that is too long goes as a file, whole, behind its first
// line: a table is never broken in two.
type parcel struct {
	post    chat.Post
	files   []made
	curtail bool // no such file either: the first line is all that can be said
}

// message is the body that the parcel has now.
func (p parcel) message() message {
	m := compose(p.post)
	if !fits(m.Content) {
		m.Content = p.opening()
	}
	for i, f := range p.all() {
		m.Attachments = append(m.Attachments, attachment{strconv.Itoa(i), f.name, cutTo(harmless(f.alt), mostAlt)})
	}
	return m
}

// firstLine is how much of it stands before a text that went as a file, in
// characters before they are escaped.
const firstLine = 300

// opening is the first line, and whom the post notifies.
func (p parcel) opening() string {
	first := ""
	if len(p.post.Lines) > 0 {
		first = escape(cutTo(bare(p.post.Lines[0], inFile), firstLine))
	}
	return strings.TrimSpace(strings.Join(append([]string{first}, unnamed(chat.Post{Notify: p.post.Notify})...), "\n"))
}

// all are the files that go along, the text first if it is one.
func (p parcel) all() []made {
	files := p.files
	if whole := p.post; !p.curtail && !fits(compose(whole).Content) {
		whole.Lines = spelled(whole)
		files = append([]made{{name: asText, bytes: []byte(asFile(whole))}}, files...)
	}
	return files[:min(len(files), mostFiles)]
}

func (p parcel) upload() []*discordgo.File {
	var out []*discordgo.File
	for _, f := range p.all() {
		out = append(out, &discordgo.File{Name: f.name, ContentType: http.DetectContentType(f.bytes), Reader: bytes.NewReader(f.bytes)})
	}
	return out
}

// smaller leaves the pictures away, and their words stay; where there is none
// left, the files.
func (p parcel) smaller() parcel {
	p.post.Lines = slices.Clone(p.post.Lines)
	var kept []made
	for _, f := range p.files {
		if f.alt == "" {
			kept = append(kept, f)
			continue
		}
		p.post.Lines = append(p.post.Lines, chat.Line{{Kind: chat.Said, Text: f.alt}})
	}
	if len(kept) == len(p.files) {
		kept, p.curtail = nil, true
	}
	p.files = kept
	return p
}

// plainer leaves away files and what people wrote, and says so.
func (p parcel) plainer(why string) parcel {
	lines := make([]chat.Line, len(p.post.Lines))
	for i, l := range p.post.Lines {
		lines[i] = slices.Clone(l)
		for j := range lines[i] {
			if lines[i][j].Kind == chat.Said {
				lines[i][j].Text = "…"
			}
		}
	}
	if why != "" {
		lines = append(lines, chat.Fold([]chat.Line{{{Kind: chat.Plain, Text: why}}})...)
	}
	p.post.Lines, p.files, p.curtail = lines, nil, true
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
	return w.deliver(ctx, in, parcel{post: p, files: files}, posting(in))
}

// posting is a new message in a channel, safe to repeat by its nonce.
func posting(in string) call {
	return call{method: http.MethodPost, path: "channels/" + in + "/messages", safe: true}
}

// edit replaces a message of ours. One that cannot be edited any more, or whose
// id was never learned, is sent anew; its receipt then has another Ref.
func (w *wires) edit(ctx context.Context, in, ref string, p chat.Post, files []made) (chat.Receipt, error) {
	done, err := w.turns.take(ctx, in)
	if err != nil {
		return chat.Receipt{}, err
	}
	defer done()
	c := posting(in)
	if !created(ref).IsZero() {
		c = call{method: http.MethodPatch, path: c.path + "/" + ref}
	}
	return w.deliver(ctx, in, parcel{post: p, files: files}, c)
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
			c = posting(in)
		case o == smaller:
			p = p.smaller()
		case o == plainer:
			p = p.plainer(w.said("discord.plainer"))
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
