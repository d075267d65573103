package discord

import (
	"encoding/json"
	"strconv"
	"time"

	"drumhead/commands/chat"
)

// answerWithin is how long an interaction waits for its first answer; after
// that nobody can answer it, and its person has been told that it failed.
const answerWithin = 3 * time.Second

// interaction is something that a person did, as the gateway tells it. It is
// decoded from the raw event: discordgo's own struct comes out empty where a
// component is of a kind that it does not know.
type interaction struct {
	ID        string               `json:"id"`
	App       string               `json:"application_id"`
	Type      int                  `json:"type"`
	Token     string               `json:"token"` // a secret for 15 minutes: never logged, never in a ledger
	Guild     string               `json:"guild_id"`
	Channel   string               `json:"channel_id"`
	In        channel              `json:"channel"`
	Member    *member              `json:"member"`
	User      *user                `json:"user"` // in private
	Locale    string               `json:"locale"`
	BotMay    permissions          `json:"app_permissions"`
	MostBytes int                  `json:"attachment_size_limit"`
	Data      given                `json:"data"`
	On        *struct{ ID string } `json:"message"` // whose button was tapped
	heard     time.Time            // by our own clock: it may have waited for its turn since
}

type channel struct {
	ID     string `json:"id"`
	Type   int    `json:"type"`
	Parent string `json:"parent_id"`
	Name   string `json:"name"`
}

type member struct {
	User  user        `json:"user"`
	Nick  string      `json:"nick"`
	Roles []string    `json:"roles"`
	May   permissions `json:"permissions"`
}

type user struct {
	ID     string `json:"id"`
	Name   string `json:"username"`
	Global string `json:"global_name"`
	Bot    bool   `json:"bot"`
}

// given is what a command, a button, a form or a half typed option holds.
type given struct {
	Name       string      `json:"name"`
	Type       int         `json:"type"`
	Options    []option    `json:"options"`
	Target     string      `json:"target_id"`
	CustomID   string      `json:"custom_id"`
	Values     []string    `json:"values"`
	Components []component `json:"components"`
	Resolved   struct {
		Files   map[string]handedIn `json:"attachments"`
		On      map[string]written  `json:"messages"` // on which a menu was opened
		Users   map[string]user     `json:"users"`
		Members map[string]member   `json:"members"` // without their users
		Roles   map[string]struct {
			Name string `json:"name"`
		} `json:"roles"`
	} `json:"resolved"`
}

// option is a parameter, a subcommand or a group of them.
type option struct {
	Name    string          `json:"name"`
	Type    int             `json:"type"`
	Value   json.RawMessage `json:"value"`
	Focused bool            `json:"focused"`
	Options []option        `json:"options"`
}

// component is a part of a form that was sent: a label with a field in it, or a
// row of fields. Parts of kinds that came later are empty.
type component struct {
	Type      int             `json:"type"`
	CustomID  string          `json:"custom_id"`
	Value     json.RawMessage `json:"value"`
	Values    []string        `json:"values"`
	Component *component      `json:"component"`
	Parts     []component     `json:"components"`
}

// handedIn is a file that was handed in, still on Discord's host.
type handedIn struct {
	ID   string `json:"id"`
	Name string `json:"filename"`
	Size int    `json:"size"`
	URL  string `json:"url"`
}

// permissions are Discord's bits, as the decimal string that they come in.
type permissions uint64

// UnmarshalJSON reads bits of any number; what is none allows nothing.
func (p *permissions) UnmarshalJSON(b []byte) error {
	var s string
	if json.Unmarshal(b, &s) != nil {
		s = string(b)
	}
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		n = 0
	}
	*p = permissions(n)
	return nil
}

// The permissions that are asked for here.
const (
	createThreads permissions = 1 << 35
	administrator permissions = 1 << 3
	manageServer  permissions = 1 << 5
	viewChannel   permissions = 1 << 10
	sendMessages  permissions = 1 << 11
	attachFiles   permissions = 1 << 15
	readHistory   permissions = 1 << 16
	sendInThreads permissions = 1 << 38
	pinMessages   permissions = 1 << 51
	needed                    = viewChannel | sendMessages | sendInThreads | createThreads | attachFiles | readHistory
)

// has tells whether all of some bits are there.
func (p permissions) has(bits permissions) bool { return p&bits == bits }

// tapped tells whether it stands on a message: a button, or a form of one.
func (i *interaction) tapped() bool { return i.On != nil }

// by is who did it.
func (i *interaction) by() user {
	if i.Member != nil {
		return i.Member.User
	}
	if i.User != nil {
		return *i.User
	}
	return user{}
}

// named is what a person is called here: by the server, by themselves, or by
// their unique name.
func (i *interaction) named() string {
	if i.Member != nil && i.Member.Nick != "" {
		return i.Member.Nick
	}
	if u := i.by(); u.Global != "" {
		return u.Global
	}
	return i.by().Name
}

// arrived reads an interaction that came at a time of ours. Nil: it is none, or
// it is too old to be answered, and must do nothing: its person was told that it
// failed and has perhaps said it again.
func (w *wires) arrived(raw json.RawMessage, at time.Time) *interaction {
	i := &interaction{heard: time.Now()}
	if err := json.Unmarshal(raw, i); err != nil || created(i.ID).IsZero() || i.by().ID == "" {
		w.Log.Warn("something came as an interaction that is none", "error", err)
		return nil
	}
	if age := w.clock.age(i.ID, at); age > answerWithin {
		w.Log.Warn("an interaction came too late and does nothing", "id", i.ID, "age", age.Round(time.Millisecond))
		return nil
	}
	return i
}

// fields are the values of a form that was sent, text by custom_id; files are
// the ids of what was handed in.
func (g given) fields() (text map[string]string, files map[string][]string) {
	text, files = map[string]string{}, map[string][]string{}
	var walk func(c component)
	walk = func(c component) {
		if c.Component != nil {
			walk(*c.Component)
		}
		for _, part := range c.Parts {
			walk(part)
		}
		var s string
		if c.CustomID != "" && c.Value != nil && json.Unmarshal(c.Value, &s) == nil {
			text[c.CustomID] = s
		}
		if c.CustomID != "" && c.Values != nil {
			files[c.CustomID] = c.Values
		}
	}
	for _, c := range g.Components {
		walk(c)
	}
	return text, files
}

// Ids of ours, from Discord's.

func personOf(u user) chat.Person       { return chat.Person(Name + ":" + u.ID) }
func roleOf(id string) string           { return Name + ":" + id }
func placeOf(channel string) chat.Place { return chat.Place(Name + ":" + channel) }

// message is what the interaction is for the desk, but for what was said,
// tapped or handed in.
func (i *interaction) message() chat.Message {
	m := chat.Message{
		Source: chat.Source(Name + ":" + i.ID), Place: placeOf(i.Channel), Person: personOf(i.by()), Name: harmless(i.named()),
		Community: chat.Community(Name + ":" + i.Guild), Private: i.Guild == "", Time: created(i.ID), Named: i.Data.people(),
	}
	if i.Guild == "" {
		m.Community = chat.Community(Name + ":@" + i.by().ID)
	}
	if i.Member != nil {
		m.Organiser = i.Member.May&(administrator|manageServer) != 0
		for _, id := range i.Member.Roles {
			m.Roles = append(m.Roles, roleOf(id))
		}
	}
	return m
}
