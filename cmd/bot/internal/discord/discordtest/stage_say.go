package discordtest

import (
	"context"
	"strconv"
	"strings"
	"unicode"

	"drumhead/commands/args"
)

// The types of option.
const (
	optionSub  = 1
	optionText = 3
	optionInt  = 4
	optionUser = 6
	optionFile = 11
)

// names knows what people on a stage know: each other.
type names struct{ stage *Stage }

func (n names) Bare() bool { return true }

func (n names) Of(k args.Kind) []string {
	if k != args.Person {
		return nil
	}
	n.stage.mu.Lock()
	defer n.stage.mu.Unlock()
	var out []string
	for name := range n.stage.people {
		out = append(out, name)
	}
	return out
}

// command gives a command as Discord's clients do: with its options, or with a
// form for what has several lines. A command that there is none of, or one whose
// options do not fit, is given as a client with old commands gives it: as one text.
// False: no client can say it so.
func (g *Stage) command(ctx context.Context, who Who, text string, files []File) (bool, error) {
	spec, rest, known := g.specOf(text)
	if !known {
		name, tail, _ := strings.Cut(strings.TrimPrefix(text, "/"), " ")
		return true, g.slash(ctx, who, strings.ToLower(name), optionsOf("rest", tail), nil)
	}
	if len(files) > 0 && !spec.Files {
		return false, nil
	}
	var several string
	if n := len(spec.Params); n > 0 && spec.Params[n-1].Kind.Several() {
		several = spec.Params[n-1].Name
	}
	_, values, err := args.Parse(g.Specs, text, names{g})
	var options []any
	form := several != "" && len(files) == 0 && (strings.Contains(rest, "\n") || strings.TrimSpace(rest) == "")
	switch {
	case form:
	case err != nil && len(spec.Params) > 0:
		options = optionsOf(spec.Params[0].Name, strings.TrimSpace(rest))
	default:
		for _, p := range spec.Params {
			if v, ok := values[p.Name]; ok {
				options = append(options, g.option(p, v))
			}
		}
	}
	var resolved map[string]any
	if len(files) > 0 {
		up := g.Server.Upload(files[0])
		options = append(options, map[string]any{"name": "file", "type": optionFile, "value": up["id"]})
		resolved = map[string]any{"attachments": map[string]any{up["id"].(string): up}}
	}
	if !form {
		return true, g.slash(ctx, who, spec.Name, options, resolved)
	}
	var i *Interaction
	if err := g.answered(ctx, func() *Interaction {
		i = g.Server.Do(who, SlashCommand, g.data(spec.Name, nil, nil))
		return i
	}); err != nil {
		return true, err
	}
	lines := strings.TrimLeftFunc(rest, unicode.IsSpace)
	return true, g.answered(ctx, func() *Interaction { return g.Server.Submit(i, map[string]any{"text": lines}, nil) })
}

// specOf finds the command that a text begins with, and what comes after it.
func (g *Stage) specOf(text string) (args.Spec, string, bool) {
	words := strings.Fields(strings.TrimPrefix(text, "/"))
	for n := min(2, len(words)); n > 0; n-- {
		name := strings.ToLower(strings.Join(words[:n], " "))
		for _, s := range g.Specs {
			if s.Name != name {
				continue
			}
			rest := strings.TrimPrefix(text, "/")
			for _, w := range words[:n] {
				rest = strings.TrimPrefix(strings.TrimLeft(rest, " "), w)
			}
			return s, rest, true
		}
	}
	return args.Spec{}, "", false
}

func optionsOf(name, text string) []any {
	if text == "" {
		return nil
	}
	return []any{map[string]any{"name": name, "type": optionText, "value": text}}
}

// option is a parameter with its value, as a client fills it in.
func (g *Stage) option(p args.Param, v string) map[string]any {
	o := map[string]any{"name": p.Name, "type": optionText, "value": v}
	n, err := strconv.Atoi(v)
	g.mu.Lock()
	id, isPerson := g.people[strings.ToLower(v)]
	g.mu.Unlock()
	switch {
	case p.Kind == args.Number && err == nil:
		o["type"], o["value"] = optionInt, n
	case p.Kind == args.Person && isPerson:
		o["type"], o["value"] = optionUser, id
	}
	return o
}

// slash gives a command and waits for its answer.
func (g *Stage) slash(ctx context.Context, who Who, name string, options []any, resolved map[string]any) error {
	return g.answered(ctx, func() *Interaction { return g.Server.Do(who, SlashCommand, g.data(name, options, resolved)) })
}

// data is the command of an interaction, with those who were chosen in it.
func (g *Stage) data(name string, options []any, resolved map[string]any) map[string]any {
	head, sub, grouped := strings.Cut(name, " ")
	if resolved == nil {
		resolved = map[string]any{}
	}
	users := map[string]any{}
	for _, o := range options {
		option, _ := o.(map[string]any)
		if id, ok := option["value"].(string); ok && option["type"] == optionUser {
			g.mu.Lock()
			for n, have := range g.people {
				if have == id {
					users[id] = map[string]any{"id": id, "username": n, "global_name": strings.ToUpper(n[:1]) + n[1:]}
				}
			}
			g.mu.Unlock()
		}
	}
	if len(users) > 0 {
		resolved["users"] = users
	}
	if options == nil {
		options = []any{}
	}
	if grouped {
		options = []any{map[string]any{"name": sub, "type": optionSub, "options": options}}
	}
	return map[string]any{"id": "1", "name": head, "type": 1, "options": options, "resolved": resolved}
}
