package discord

import (
	"context"
	"net/http"
	"strconv"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// Bounds of a form (documentation, "Modal").
const (
	mostTitle      = 45
	mostFieldLabel = 45
	mostAbout      = 100
	mostField      = 4000
)

// How a form's id begins, and its fields.
const (
	commandForm = "form/"
	tapForm     = ">"
	textField   = "text"
	filesField  = "files"
)

// The types of component in a form.
const (
	typeText  = 4
	typeLabel = 18
	typeFiles = 19
	paragraph = 2
)

// form asks for a text, of several lines if need be, or for a file in its place.
type form struct {
	id    string
	title string
	field field
	files bool
}

type field struct {
	name     string
	label    string
	about    string
	optional bool
}

// formOf is the form of a command whose several lines are still to be said.
func formOf(s args.Spec) *form {
	last := s.Params[len(s.Params)-1]
	f := &form{id: commandForm + s.Name, title: "/" + s.Name, files: s.Files,
		field: field{name: textField, label: last.Help, optional: true}}
	if f.files {
		f.field.about = s.Help
	}
	return f
}

// modal is a form as Discord is told of it.
type modal struct {
	CustomID   string       `json:"custom_id"`
	Title      string       `json:"title"`
	Components []modalLabel `json:"components"`
}

type modalLabel struct {
	Type        int        `json:"type"`
	Label       string     `json:"label"`
	Description string     `json:"description,omitempty"`
	Component   modalField `json:"component"`
}

type modalField struct {
	Type     int    `json:"type"`
	CustomID string `json:"custom_id"`
	Style    int    `json:"style,omitempty"`
	Required bool   `json:"required"`
	Longest  int    `json:"max_length,omitempty"`
	Least    *int   `json:"min_values,omitempty"`
	Most     int    `json:"max_values,omitempty"`
}

// modal is the form as Discord shows it; instead is what stands over a file.
func (f form) modal(instead string) modal {
	m := modal{CustomID: f.id, Title: cutTo(f.title, mostTitle), Components: []modalLabel{{
		Type: typeLabel, Label: cutTo(f.field.label, mostFieldLabel), Description: cutTo(f.field.about, mostAbout),
		Component: modalField{Type: typeText, CustomID: f.field.name, Style: paragraph, Required: !f.field.optional, Longest: mostField}}}}
	if f.files {
		none := 0
		m.Components = append(m.Components, modalLabel{Type: typeLabel, Label: cutTo(instead, mostFieldLabel),
			Component: modalField{Type: typeFiles, CustomID: filesField, Least: &none, Most: 1}})
	}
	return m
}

// open shows a form to who asked for it.
func (s *ear) open(i *interaction, f form) {
	c := call{method: http.MethodPost, path: "interactions/" + i.ID + "/" + i.Token + "/callback", body: callback{answerForm, f.modal(s.Say("discord.instead"))}, safe: true}
	if err := s.w.api.do(s.ctx, c, nil); err != nil && outcomeOf(err, c) != onOriginal {
		s.Log.Warn("a form could not be opened", "interaction", i.ID, "error", err)
	}
}

// submitted is what a form says that was sent. Fields that it does not have are
// passed over.
func (s *ear) submitted(i *interaction) heard {
	text, files := i.Data.fields()
	written := strings.TrimRight(text[textField], " \t\r\n")
	if id, ok := strings.CutPrefix(i.Data.CustomID, tapForm); ok {
		on := *i
		on.Data.CustomID, on.Data.Values = id, nil
		out, _ := s.tapped(&on)
		if out.tap != nil {
			out.tap.Text = written
		}
		return out
	}
	name, ok := strings.CutPrefix(i.Data.CustomID, commandForm)
	said, spec, known := typed(s.Specs, given{Name: name})
	if !ok || !known {
		return heard{private: true, refuse: "discord.refuse.old"}
	}
	if written != "" {
		said += "\n" + written
	}
	return heard{text: said, spec: spec, private: spec.Mode != args.Public, files: files[filesField]}
}

// file is the id of a file that was handed in with a command.
func (g given) file() []string {
	var out []string
	for _, o := range g.leaves() {
		if o.Type == optionFile {
			out = append(out, o.text())
		}
	}
	return out
}

// leaves are the parameters of a command, below its subcommands.
func (g given) leaves() []option {
	options := g.Options
	for len(options) == 1 && (options[0].Type == optionSub || options[0].Type == optionGroup) {
		options = options[0].Options
	}
	return options
}

// entryText is the number of an entry as it is typed.
func entryText(entry int64) string { return strconv.FormatInt(entry, 10) }

// nameOf is the command that a label on a post means.
func nameOf(specs []args.Spec, label string) string {
	for _, s := range specs {
		if s.OnPost != "" && strings.EqualFold(s.OnPost, label) {
			return s.Name
		}
	}
	return ""
}

// suggestion is one way to go on with an option.
type suggestion struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// Bounds of suggestions (documentation, "Application Command Option Choice").
const (
	mostSuggestions = 25
	mostSuggestion  = 100
)

// offer answers an option half typed with what complete says to the command as
// it stands so far.
func (w *wires) offer(ctx context.Context, i *interaction, complete func(text string) []chat.Suggestion, specs []args.Spec) {
	list := []suggestion{}
	if before, now, ok := half(specs, i.Data); ok {
		for _, c := range complete(before + now) {
			v, goesOn := strings.CutPrefix(c.Text, before)
			if goesOn && v != "" && len([]rune(v)) <= mostSuggestion && len(list) < mostSuggestions {
				list = append(list, suggestion{cutTo(harmless(v), mostSuggestion), v})
			}
		}
	}
	body := callback{answerChoices, struct {
		Choices []suggestion `json:"choices"`
	}{list}}
	c := call{method: http.MethodPost, path: "interactions/" + i.ID + "/" + i.Token + "/callback", body: body, safe: true}
	if err := w.api.do(ctx, c, nil); err != nil && ctx.Err() == nil && outcomeOf(err, c) != onOriginal {
		w.Log.Warn("suggestions could not be offered", "interaction", i.ID, "error", err)
	}
}

// half is a command half typed: what stands before the option that is being
// typed, and what is typed of it.
func half(specs []args.Spec, g given) (before, now string, ok bool) {
	name, _ := g.named()
	for _, s := range specs {
		if s.Name != name {
			continue
		}
		earlier := given{Name: name, Resolved: g.Resolved}
		for _, p := range s.Params {
			for _, o := range g.leaves() {
				switch {
				case o.Name != p.Name:
				case o.Focused:
					before, _, _ = typed(specs, earlier)
					return before + " ", o.text(), true
				default:
					earlier.Options = append(earlier.Options, o)
				}
			}
		}
	}
	return "", "", false
}

// named is the name of a command with its subcommands, and its parameters.
func (g given) named() (string, []option) {
	name, options := g.Name, g.Options
	for len(options) == 1 && (options[0].Type == optionSub || options[0].Type == optionGroup) {
		name, options = name+" "+options[0].Name, options[0].Options
	}
	return name, options
}
