//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	_ "image/png" // of our own pictures, for their size
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// made is a picture or a file of a post.
type made struct {
	name, caption string
	picture       bool
	bytes         []byte
}

// looks is what tells it from others.
func (m made) looks() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%q %q %t %x", m.name, m.caption, m.picture, sha256.Sum256(m.bytes)))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}

// make makes a picture or a file of a post.
func (a *Adapter) make(ctx context.Context, r chat.Recipe, picture bool) (m made, err error) {
	m = made{name: chat.FileName(r.Name), caption: chat.FileName(r.Name), picture: picture}
	if alt := harmless(r.Alt); picture && alt != "" {
		m.caption = alt // says what the picture shows
	}
	m.bytes, err = a.parts.Make.Make(ctx, r)
	return m, err
}

// attachment uploads a picture or a file, and is its message, in the place of
// another if it changes one.
func (a *Adapter) attachment(ctx context.Context, rid id.RoomID, root, changes id.EventID, p chat.Post, one made) (json.RawMessage, error) {
	m := &event.MessageEventContent{MsgType: event.MsgFile, FileName: one.name, Body: one.caption}
	if one.picture {
		m.MsgType = event.MsgImage
	}
	return a.upload(ctx, rid, root, changes, p, m, one.bytes)
}

// textFile is a post whose text is too long for a message, as a file.
func (a *Adapter) textFile(ctx context.Context, rid id.RoomID, root id.EventID, p chat.Post) (json.RawMessage, error) {
	w := a.pen(rid)
	var b strings.Builder
	for _, l := range p.Lines {
		bare, _ := w.line(p, l)
		b.WriteString(bare + "\n")
	}
	return a.upload(ctx, rid, root, "", p, &event.MessageEventContent{MsgType: event.MsgFile, FileName: asText, Body: asText}, []byte(b.String()))
}

const asText = "post.txt"

// upload brings bytes to the homeserver, encrypted where the room is: it cannot
// see what it keeps, nor can whoever learns the address.
func (a *Adapter) upload(ctx context.Context, rid id.RoomID, root, changes id.EventID, p chat.Post, m *event.MessageEventContent, b []byte) (json.RawMessage, error) {
	m.Info = &event.FileInfo{MimeType: http.DetectContentType(b), Size: len(b)}
	if size, _, err := image.DecodeConfig(bytes.NewReader(b)); err == nil {
		m.Info.Width, m.Info.Height = size.Width, size.Height
	}
	m.Mentions = &event.Mentions{}
	kind := m.Info.MimeType
	var file *attachment.EncryptedFile
	if a.rooms.encrypted(rid) {
		file, b = attachment.NewEncryptedFile(), slices.Clone(b) // the maker's bytes are the maker's
		file.EncryptInPlace(b)
		kind = "application/octet-stream"
	}
	r, err := a.cli.UploadMedia(ctx, mautrix.ReqUploadMedia{ContentBytes: b, ContentType: kind})
	if err != nil {
		return nil, a.notUploaded(p.ID, err)
	}
	if file != nil {
		m.File = &event.EncryptedFileInfo{EncryptedFile: *file, URL: r.ContentURI.CUString()}
	} else {
		m.URL = r.ContentURI.CUString()
	}
	a.relate(m, root, changes)
	return a.marked(m, p, rid)
}

// mostUploads is how often a file of a post is tried to bring to the homeserver: then
// the post goes without it.
const mostUploads = 5

// notUploaded is the outcome of an upload that failed: what may pass is tried again.
func (a *Adapter) notUploaded(p chat.PostID, err error) error {
	var h mautrix.HTTPError
	wait, passes := leastWait, true
	if errors.As(err, &h) && h.Response != nil {
		wait, passes = retryAfter(h), h.Response.StatusCode == 429 || h.Response.StatusCode >= 500
	}
	const remembered = 1000
	a.mu.Lock()
	if len(a.uploads) > remembered {
		clear(a.uploads)
	}
	a.uploads[p]++
	n := a.uploads[p]
	if passes = passes && n < mostUploads; !passes {
		delete(a.uploads, p)
	}
	a.mu.Unlock()
	if !passes {
		return fmt.Errorf("upload: %w", err)
	}
	time.AfterFunc(wait*time.Duration(n), a.nudge)
	return fmt.Errorf("%w: upload: %w", chat.ErrLater, err)
}

// fetchWithin is how long a file may take that is handed in: its sender's server
// decides, and everybody waits.
const fetchWithin = 20 * time.Second

var errTooLarge = fmt.Errorf("larger than %d MB", mostHandedIn>>20)

// fetch reads a file that was handed in, and never more of it than allowed.
func (a *Adapter) fetch(ctx context.Context, c *event.MessageEventContent) (chat.File, error) {
	uri := c.URL
	if c.File != nil {
		uri = c.File.URL
	}
	at, err := uri.Parse()
	if err != nil {
		return chat.File{}, fmt.Errorf("no address of a file: %w", err)
	}
	if c.Info != nil && c.Info.Size > mostHandedIn {
		return chat.File{}, errTooLarge
	}
	ctx, cancel := context.WithTimeout(ctx, fetchWithin)
	defer cancel()
	r, err := a.cli.Download(ctx, at)
	if err != nil {
		return chat.File{}, err
	}
	defer r.Body.Close()
	b, err := io.ReadAll(io.LimitReader(r.Body, mostHandedIn+1))
	switch {
	case err != nil:
		return chat.File{}, err
	case len(b) > mostHandedIn:
		return chat.File{}, errTooLarge
	}
	if c.File != nil {
		if err := c.File.DecryptInPlace(b); err != nil {
			return chat.File{}, err
		}
	}
	name := harmless(c.GetFileName())
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	if name == "" {
		return chat.File{}, errors.New("no name")
	}
	return chat.File{Name: cutTo(name, mostFileName), Bytes: b}, nil
}

// mostFileName is how many characters of the name of a file that is handed in are
// taken.
const mostFileName = 100
