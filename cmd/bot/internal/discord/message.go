package discord

import (
	"crypto/sha256"
	"encoding/base64"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"drumhead/commands/chat"
)

// Bounds of a message (documentation, "Create Message", "Components").
const (
	mostNonce    = 25
	mostCustomID = 99 // of 100: the id of a form that a choice opens is one longer
	mostLabel    = 80
	mostAlt      = 1024
	rowOf        = 5 // buttons
	mostRows     = 5
	mostButtons  = 10 // more choices become menus: two rows still fit on a telephone
	menuOf       = 25 // choices
	mostChoices  = menuOf * mostRows
	mostFiles    = 10
)

// The flags of a message.
const (
	noPreviews = 1 << 2  // of links: posts quote people
	ephemeral  = 1 << 6  // seen by one person; of answers only
	quietly    = 1 << 12 // nobody's telephone rings
)

// message is what a post becomes: the body of a new message, of an answer, or of
// an edit. Lists are always there, because an edit keeps what is left out.
type message struct {
	Content     string       `json:"content"`
	Flags       int          `json:"flags,omitempty"`
	Mentions    mentions     `json:"allowed_mentions"`
	Components  []row        `json:"components"`
	Attachments []attachment `json:"attachments"`
	Nonce       string       `json:"nonce,omitempty"`
	Enforce     bool         `json:"enforce_nonce,omitempty"`
}

// mentions says who is notified. Parse is always there and empty: left out, a
// message notifies all whom it names.
type mentions struct {
	Parse []string `json:"parse"`
	Users []string `json:"users,omitempty"`
}

// attachment is a new file, by its place in the body.
type attachment struct {
	ID          string `json:"id"`
	Filename    string `json:"filename"`
	Description string `json:"description,omitempty"`
}

// row is a row of buttons, or of one menu.
type row struct {
	Type       int    `json:"type"`
	Components []part `json:"components"`
}

// part is a button, which is one choice, or a menu of choices.
type part struct {
	Type     int        `json:"type"`
	Style    int        `json:"style,omitempty"`
	Label    string     `json:"label,omitempty"`
	CustomID string     `json:"custom_id"`
	Options  []menuLine `json:"options,omitempty"`
}

// menuLine is a choice of a menu; its value is the custom_id that a button would have.
type menuLine struct {
	Label string `json:"label"`
	Value string `json:"value"`
}

// The types and styles of components used here.
const (
	typeRow    = 1
	typeButton = 2
	typeSelect = 3
	styleFirst = 1 // stands out
	stylePlain = 2
)

// compose makes the message of a post, but for its pictures and files.
func compose(p chat.Post) message {
	p.Lines = spelled(p)
	m := message{Content: text(p), Flags: noPreviews, Mentions: notify(p), Components: buttons(p), Attachments: []attachment{}}
	if p.Quiet && p.Edit == "" {
		m.Flags |= quietly
	}
	return m
}

// spelled are the lines of a post, with the choices that no menu has room for as
// commands to type.
func spelled(p chat.Post) []chat.Line {
	out := p.Lines
	for i := mostChoices; i < len(p.Choices); i++ {
		c := p.Choices[i]
		out = append(out[:len(out):len(out)], chat.Line{{Kind: chat.Plain, Text: c.Label + ": "}, {Kind: chat.Command, Text: c.Command}})
	}
	return out
}

// notify is whom a post notifies: nobody by an edit.
func notify(p chat.Post) mentions {
	m := mentions{Parse: []string{}}
	if p.Edit != "" {
		return m
	}
	for _, who := range p.Notify {
		if id, ok := userID(who); ok {
			m.Users = append(m.Users, id)
		}
	}
	return m
}

// buttons are the choices of a post, five a row; many choices are menus.
func buttons(p chat.Post) []row {
	if len(p.Choices) > mostButtons {
		return menus(p)
	}
	rows := []row{}
	for i, c := range p.Choices {
		if i%rowOf == 0 {
			rows = append(rows, row{Type: typeRow})
		}
		style := stylePlain
		if i == 0 {
			style = styleFirst
		}
		last := &rows[len(rows)-1]
		last.Components = append(last.Components, part{Type: typeButton, Style: style, Label: label(c), CustomID: customID(p.ID, c.Number)})
	}
	return rows
}

// menus are the choices of a post in menus, which go by the id of their first.
func menus(p chat.Post) []row {
	rows := []row{}
	for some := range slices.Chunk(p.Choices[:min(len(p.Choices), mostChoices)], menuOf) {
		menu := part{Type: typeSelect, CustomID: customID(p.ID, some[0].Number)}
		for _, c := range some {
			menu.Options = append(menu.Options, menuLine{Label: label(c), Value: customID(p.ID, c.Number)})
		}
		rows = append(rows, row{Type: typeRow, Components: []part{menu}})
	}
	return rows
}

// label is what stands on a button, which shows no markup.
func label(c chat.Choice) string {
	s := strings.TrimSpace(cutTo(harmless(c.Label), mostLabel))
	if s == "" {
		return strconv.Itoa(c.Number)
	}
	return s
}

// hashed begins a custom_id whose post's id is too long to stand in it.
const hashed = "~"

// customID names a choice of a post: POST.N, or a hash of the post's id where
// that is too long.
func customID(post chat.PostID, number int) string {
	n := "." + strconv.Itoa(number)
	if len(post)+len(n) > mostCustomID {
		return hashed + digest(string(post)) + n
	}
	return string(post) + n
}

// readCustomID is the post and the number of a choice. Is the post's id hashed,
// then the post comes as that hash, as postKey has it.
func readCustomID(s string) (post string, number int, ok bool) {
	i := strings.LastIndexByte(s, '.')
	if i <= 0 {
		return "", 0, false
	}
	number, err := strconv.Atoi(s[i+1:])
	return s[:i], number, err == nil && number > 0
}

// postKey is how a post's id stands in its custom_ids.
func postKey(post chat.PostID) string {
	key, _, _ := readCustomID(customID(post, 1))
	return key
}

// nonce is the token of a post in a place, by which Discord refuses it twice.
func nonce(place chat.Place, post chat.PostID) string {
	return digest(string(place) + "\x00" + string(post))
}

// digest is 150 bits of SHA-256 in 25 characters.
func digest(s string) string {
	sum := sha256.Sum256([]byte(s))
	return base64.RawURLEncoding.EncodeToString(sum[:])[:mostNonce]
}

// cutTo cuts a text to so many characters.
func cutTo(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}
