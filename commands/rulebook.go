package commands

import (
	"context"
	"fmt"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// mostRules is how many sentences of a rulebook stand in a post; more go with the
// file.
const mostRules = 40

// rulebook answers "osier" with what its rules have parts about, and "osier weapons"
// with one part; nil for a word that is no game here.
func (a *ask) rulebook(word string) *chat.Post {
	for _, p := range a.desk.packs() {
		for _, name := range []string{p.ID, args.Key(p.Title)} {
			rest, ok := strings.CutPrefix(word, name)
			if !ok || rest != "" && rest[0] != ' ' {
				continue
			}
			post := a.rules(p, strings.TrimSpace(rest))
			return &post
		}
	}
	return nil
}

// rules is a game's rulebook, or one part of it.
func (a *ask) rules(p *rules.Pack, part string) chat.Post {
	post := a.post()
	page := p.Page()
	var parts []string
	for _, s := range page {
		parts = append(parts, s.ID)
		if part == "" || args.Key(s.ID) != part && args.Key(flat(a.words().Reason(s.Title))) != part {
			continue
		}
		post.Lines = append(post.Lines, a.words().Reason(s.Title))
		for _, line := range s.Lines[:min(len(s.Lines), mostRules)] {
			post.Lines = append(post.Lines, a.words().Reason(line))
		}
	}
	if post.Lines == nil {
		post.Lines = []chat.Line{a.say("page.head", "title", reason.Name(p.Title), "edition", p.Edition, "about", reason.Name(p.About)),
			a.say("start.rules.parts", "parts", parts), a.say("start.rules.one", "command", typed("/help "+p.ID+" "+parts[len(parts)-1]))}
	}
	post.Files = []chat.Recipe{{Kind: "rules", Value: p.ID, Name: p.ID + "-rules.txt"}}
	return post
}

// words speaks without anybody's names.
func (a *ask) words() words.Speaker { return words.Speaker{Catalog: a.desk.words} }

// makeRules writes a game's rulebook.
func makeRules(_ context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	p, err := d.pack(r.Value)
	if err != nil {
		return nil, fmt.Errorf("commands: no game is called %q", r.Value)
	}
	return Rulebook(words.Speaker{Catalog: d.words}, p), nil
}

// pageWidth is where the lines of a rulebook break.
const pageWidth = 60

// Rulebook is a pack's rules in plain words, made of the same values that play it:
// each sentence begins a line, and what is too long goes on further in.
func Rulebook(say words.Speaker, p *rules.Pack) []byte {
	var b strings.Builder
	breakLine(&b, words.Flat(say.Say("page.head", "title", reason.Name(p.Title), "edition", p.Edition, "about", reason.Name(p.About))))
	for _, s := range p.Page() {
		title := words.Flat(say.Reason(s.Title))
		fmt.Fprintf(&b, "\n%s\n%s\n", title, strings.Repeat("-", min(len([]rune(title)), pageWidth)))
		for _, line := range s.Lines {
			breakLine(&b, words.Flat(say.Reason(line)))
		}
	}
	return []byte(b.String())
}

// breakLine writes a sentence, broken between words.
func breakLine(b *strings.Builder, text string) {
	at := 0
	for i, word := range strings.Fields(text) {
		length := len([]rune(word))
		switch {
		case i == 0:
		case at+1+length > pageWidth:
			b.WriteString("\n  ")
			at = 2
		default:
			b.WriteString(" ")
			at++
		}
		b.WriteString(word)
		at += length
	}
	b.WriteString("\n")
}
