package commands

import (
	"context"
	"encoding/json"
	"strings"
	"unicode"

	"drumhead/commands/chat"
	"drumhead/commands/picture"
	"drumhead/commands/words"
)

// mostAlt is how many letters the words of a picture have at most.
const mostAlt = 1000

// drawn is the recipe of a picture. It holds the scene itself, so that made again
// after years it is the same picture. A scene that cannot be laid out is left
// away: the post says everything without it.
func drawn(scene picture.Scene, name string) []chat.Recipe {
	sheet, err := picture.Lay(scene)
	if err != nil {
		return nil
	}
	value, err := json.Marshal(scene)
	if err != nil {
		return nil
	}
	return []chat.Recipe{{Kind: "picture." + scene.Kind(), Value: string(value), Name: name + ".png", Alt: sheet.Alt}}
}

// withPictures adds a maker for each kind of scene, which draws what drawn has
// put down.
func withPictures(all map[string]maker) map[string]maker {
	for _, kind := range picture.Kinds() {
		all["picture."+kind] = func(_ context.Context, _ *Desk, r chat.Recipe) ([]byte, error) {
			sheet, err := picture.Read(kind, []byte(r.Value))
			if err != nil {
				return nil, err
			}
			return picture.Encode(sheet, r.Name)
		}
	}
	return all
}

// altOf joins sentences for who cannot see a picture; what is too long ends with dots.
func altOf(sentences ...chat.Line) string {
	var said []string
	for _, s := range sentences {
		text := strings.TrimSpace(words.Flat(s))
		if last := strings.TrimRight(text, ".:!?"); last == text && text != "" {
			text += "."
		}
		if text != "" {
			said = append(said, text)
		}
	}
	letters := []rune(strings.Join(said, " "))
	if len(letters) > mostAlt {
		letters = append(letters[:mostAlt-1], '…')
	}
	return string(letters)
}

// initials are letters that tell names apart: the first letter of each name that
// no other has taken, else any capital that is left.
func initials(names []string) []string {
	taken := map[rune]bool{}
	out := make([]string, len(names))
	for i, name := range names {
		spare := "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
		for _, r := range name + spare {
			if r = unicode.ToUpper(r); unicode.IsLetter(r) && !taken[r] {
				taken[r], out[i] = true, string(r)
				break
			}
		}
	}
	return out
}
