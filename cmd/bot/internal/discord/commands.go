package discord

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// Bounds of commands (documentation, "Application Commands").
const (
	mostCommands    = 100
	mostMenus       = 15 // message commands
	mostOptions     = 25 // of a command, a group or a subcommand
	mostName        = 32
	mostDescription = 100
	mostLetters     = 8000 // names and descriptions of a command at all levels
	mostTyped       = 6000 // characters of one text option
)

// The types of commands and of options.
const (
	typeSlash   = 1
	typeMenu    = 3 // on a message
	optionSub   = 1
	optionGroup = 2
	optionText  = 3
	optionWhole = 4
	optionUser  = 6
	optionRole  = 8
	optionFile  = 11
)

// fileOption is where a file is handed in.
const fileOption = "file"

// command is a command as Discord is told of it. It asks for no permission: Discord
// knows that of whole commands only, and everybody may look at /settings, and players
// agree there how to go on after a restore. Who may change what the desk checks, and
// whom the commands are shown a server sets itself.
type command struct {
	Type        int             `json:"type"`
	Name        string          `json:"name"`
	Description string          `json:"description,omitempty"` // never of a menu
	InOthers    languages       `json:"description_localizations,omitempty"`
	Options     []commandOption `json:"options,omitempty"`
	Installs    []int           `json:"integration_types"`
	Contexts    []int           `json:"contexts"`
}

type commandOption struct {
	Type        int             `json:"type"`
	Name        string          `json:"name"`
	Description string          `json:"description"`
	InOthers    languages       `json:"description_localizations,omitempty"`
	Required    bool            `json:"required,omitempty"`
	Completes   bool            `json:"autocomplete,omitempty"`
	Least       *int            `json:"min_value,omitempty"`
	Longest     int             `json:"max_length,omitempty"`
	Options     []commandOption `json:"options,omitempty"`
}

// languages are descriptions by Discord's names of languages.
type languages map[string]string

// inOthers translates descriptions; names stay, because players tell each other names.
func inOthers(all []command, names []string, in func(language, text string) (string, bool)) {
	if in == nil {
		return
	}
	translated := func(text string) languages {
		out := languages{}
		for _, name := range names {
			if t, ok := in(name, text); ok && text != "" {
				out[name] = t
			}
		}
		return out
	}
	var below func(options []commandOption)
	below = func(options []commandOption) {
		for i := range options {
			options[i].InOthers = translated(options[i].Description)
			below(options[i].Options)
		}
	}
	for i := range all {
		all[i].InOthers = translated(all[i].Description)
		below(all[i].Options)
	}
}

// commandsOf makes Discord's commands of the bot's own: a group becomes a
// command with subcommands, and what can be picked on a post a menu of messages.
// An error tells of a limit that is passed; then nothing may be sent.
func commandsOf(specs []args.Spec) ([]command, error) {
	var out []command
	at := map[string]int{}
	for _, s := range specs {
		head, sub, grouped := strings.Cut(s.Name, " ")
		i, known := at[head]
		if known && (!grouped || len(out[i].Options) == 0 || out[i].Options[0].Type != optionSub) {
			return nil, fmt.Errorf("discord: /%s cannot stand alone and be a group of commands as well", head)
		}
		if !known {
			i = len(out)
			at[head] = i
			out = append(out, command{Type: typeSlash, Name: head, Description: s.Help, Installs: []int{0}, Contexts: []int{0, 1}})
		}
		if !grouped {
			out[i].Options = optionsOf(s)
			continue
		}
		out[i].Description = "/" + head
		out[i].Options = append(out[i].Options, commandOption{Type: optionSub, Name: sub, Description: s.Help, Options: optionsOf(s)})
	}
	for _, s := range specs {
		for _, label := range []string{s.OnPost, s.OnText} {
			if label != "" {
				out = append(out, command{Type: typeMenu, Name: label, Installs: []int{0}, Contexts: []int{0, 1}})
			}
		}
	}
	return out, within(out)
}

// optionsOf are the parameters of a command, those first that must be there. A
// last one in whose place a file may come, and one of several lines, may be left
// out: a form asks for them.
func optionsOf(s args.Spec) []commandOption {
	var out []commandOption
	for i, p := range s.Params {
		o := commandOption{Type: optionText, Name: p.Name, Description: p.Help, Longest: mostTyped}
		o.Required = !p.Optional && !(s.Files && i == len(s.Params)-1) && p.Kind != args.Sheet && p.Kind != args.Force
		switch p.Kind {
		case args.Number:
			least := 0
			o.Type, o.Longest, o.Least = optionWhole, 0, &least
		case args.Person:
			o.Type, o.Longest = optionUser, 0
		case args.Role:
			o.Type, o.Longest = optionRole, 0
		case args.Unit, args.Region, args.Scenario, args.Saved:
			o.Completes = true
		}
		out = append(out, o)
	}
	if s.Files {
		help := s.Help // of the last parameter, in whose place it comes, if there is one
		if n := len(s.Params); n > 0 {
			help = s.Params[n-1].Help
		}
		out = append(out, commandOption{Type: optionFile, Name: fileOption, Description: help})
	}
	slices.SortStableFunc(out, func(a, b commandOption) int {
		switch {
		case a.Required == b.Required:
			return 0
		case a.Required:
			return -1
		}
		return 1
	})
	return out
}

// within tells which limit commands pass, nil if none.
func within(all []command) error {
	slash, menus := 0, 0
	for _, c := range all {
		if c.Type == typeMenu {
			menus++
		} else {
			slash++
		}
		name := c.Name
		if c.Type == typeSlash {
			if err := wellNamed(c.Name, c.Options); err != nil {
				return err
			}
		}
		if err := short(c.Name, c.Description, c.InOthers, c.Options); err != nil {
			return fmt.Errorf("discord: command %q: %w", name, err)
		}
		if n := letters(c.Name, c.Description, c.InOthers, c.Options); n > mostLetters {
			return fmt.Errorf("discord: command %q has %d letters, %d at the most", name, n, mostLetters)
		}
	}
	if slash > mostCommands || menus > mostMenus {
		return fmt.Errorf("discord: %d commands and %d menus, %d and %d at the most", slash, menus, mostCommands, mostMenus)
	}
	return nil
}

// rightName is how Discord spells names of commands and options; menus may have
// capitals and spaces.
var rightName = regexp.MustCompile(`^[-_'\p{L}\p{N}\p{Devanagari}\p{Thai}]*$`)

// wellNamed tells whether names at all levels are such that Discord takes them.
func wellNamed(name string, options []commandOption) error {
	if name != strings.ToLower(name) {
		return fmt.Errorf("discord: command or option %q has capitals", name)
	}
	if !rightName.MatchString(name) {
		return fmt.Errorf("discord: command or option %q: letters, digits, - _ and ' expected", name)
	}
	for _, o := range options {
		if err := wellNamed(o.Name, o.Options); err != nil {
			return err
		}
	}
	return nil
}

func short(name, description string, others languages, options []commandOption) error {
	switch {
	case name == "" || utf8.RuneCountInString(name) > mostName:
		return fmt.Errorf("name %q is not of 1 to %d characters", name, mostName)
	case longest(description, others) > mostDescription:
		return fmt.Errorf("%q has a description of more than %d characters", name, mostDescription)
	case len(options) > mostOptions:
		return fmt.Errorf("%q has %d parts, %d at the most", name, len(options), mostOptions)
	}
	for _, o := range options {
		if o.Description == "" {
			return fmt.Errorf("%q of %q has no description", o.Name, name)
		}
		if err := short(o.Name, o.Description, o.InOthers, o.Options); err != nil {
			return err
		}
	}
	return nil
}

// longest is how long a description is where it is longest.
func longest(description string, others languages) int {
	n := utf8.RuneCountInString(description)
	for _, text := range others {
		n = max(n, utf8.RuneCountInString(text))
	}
	return n
}

// letters counts a command as Discord does: each field in its longest language.
func letters(name, description string, others languages, options []commandOption) int {
	n := utf8.RuneCountInString(name) + longest(description, others)
	for _, o := range options {
		n += letters(o.Name, o.Description, o.InOthers, o.Options)
	}
	return n
}

// commandsDigest tells commands of an application apart from what it was told
// before: only a change is sent.
func commandsDigest(app string, all []command) (string, error) {
	b, err := json.Marshal(all)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(append([]byte(app+"\n"), b...))
	return hex.EncodeToString(sum[:]), nil
}

// typed is a command of the bot as it would be typed, with the text of its
// options in the order of its parameters. A person stands in it by id. False if
// it is none of the commands: an old menu of a person's.
func typed(specs []args.Spec, g given) (string, args.Spec, bool) {
	name, options := g.named()
	i := slices.IndexFunc(specs, func(s args.Spec) bool { return s.Name == name })
	if i < 0 {
		out := "/" + name // the desk knows what to say to that
		for _, o := range options {
			out += strings.TrimRight(" "+o.text(), " ")
		}
		return out, args.Spec{}, false
	}
	out := "/" + name
	for n, p := range specs[i].Params {
		for _, o := range options {
			if o.Name != p.Name {
				continue
			}
			v := o.text()
			if p.Kind == args.Person && o.Type == optionUser && v != "" {
				v = "@" + Name + ":" + v
			}
			if p.Kind == args.Role && o.Type == optionRole && v != "" {
				v = roleOf(v) + " " + harmless(g.Resolved.Roles[v].Name)
			}
			if v != "" {
				out += between(v) + together(v, n == len(specs[i].Params)-1, p.Kind)
			}
		}
	}
	return out, specs[i], true
}

// text is the value of an option, whatever its type.
func (o option) text() string {
	var s string
	if json.Unmarshal(o.Value, &s) == nil {
		return strings.TrimSpace(s)
	}
	var n json.Number
	if json.Unmarshal(o.Value, &n) == nil {
		return n.String()
	}
	return ""
}

// people are those who were chosen in it, and what they are called here.
func (g given) people() map[chat.Person]string {
	var out map[chat.Person]string
	for id, u := range g.Resolved.Users {
		if out == nil {
			out = map[chat.Person]string{}
		}
		out[chat.Person(Name+":"+id)] = u.called()
		if m := g.Resolved.Members[id]; m.Nick != "" {
			out[chat.Person(Name+":"+id)] = harmless(m.Nick)
		}
	}
	return out
}

// between parts a value from what stands before it: what has lines begins one.
func between(v string) string {
	if strings.Contains(v, "\n") {
		return "\n"
	}
	return " "
}

// together keeps a name of several words together if more follows it.
func together(v string, last bool, k args.Kind) string {
	name := k == args.Unit || k == args.Region || k == args.Scenario || k == args.Saved || k == args.Person
	if last || !name || !strings.Contains(v, " ") || strings.Contains(v, `"`) {
		return v
	}
	return `"` + v + `"`
}
