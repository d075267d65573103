//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	_ "image/png" // of our own pictures, for their size
	"io"
	"net/http"
	"slices"
	"strings"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// attachment makes a picture or a file of a post and uploads it; the content is
// kept with the part, so that a second try needs no second upload. It is nil if
// nobody here makes pictures.
func (a *Adapter) attachment(ctx context.Context, rid id.RoomID, root id.EventID, p chat.Post, r chat.Recipe, picture bool) (json.RawMessage, error) {
	if a.parts.Make == nil {
		return nil, nil
	}
	b, err := a.parts.Make.Make(ctx, r)
	if err != nil {
		return nil, err
	}
	m := &event.MessageEventContent{MsgType: event.MsgFile, FileName: chat.FileName(r.Name), Body: chat.FileName(r.Name)}
	if picture {
		m.MsgType = event.MsgImage
		if alt := harmless(r.Alt); alt != "" {
			m.Body = alt // the caption says what the picture shows
		}
	}
	return a.upload(ctx, rid, root, p, m, b)
}

// textFile is a post whose text is too long for a message, as a file.
func (a *Adapter) textFile(ctx context.Context, rid id.RoomID, root id.EventID, p chat.Post) (json.RawMessage, error) {
	w := a.pen(rid)
	var b strings.Builder
	for _, l := range p.Lines {
		bare, _ := w.line(p, l)
		b.WriteString(bare + "\n")
	}
	return a.upload(ctx, rid, root, p, &event.MessageEventContent{MsgType: event.MsgFile, FileName: asText, Body: asText}, []byte(b.String()))
}

const asText = "post.txt"

// upload brings bytes to the homeserver, encrypted where the room is: it cannot
// see what it keeps, nor can whoever learns the address.
func (a *Adapter) upload(ctx context.Context, rid id.RoomID, root id.EventID, p chat.Post, m *event.MessageEventContent, b []byte) (json.RawMessage, error) {
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
		return nil, fmt.Errorf("upload: %w", err)
	}
	if file != nil {
		m.File = &event.EncryptedFileInfo{EncryptedFile: *file, URL: r.ContentURI.CUString()}
	} else {
		m.URL = r.ContentURI.CUString()
	}
	a.relate(m, rid, root)
	return a.marked(m, p, rid)
}

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
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
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
