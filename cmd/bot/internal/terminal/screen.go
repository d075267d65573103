package terminal

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/commands/chat"
)

// Limits of what is remembered of the posts shown.
const (
	mostPosts = 256  // whose choices can still be picked
	mostShown = 8192 // ids, so that none is shown twice
)

// screen remembers what was shown. The zero value is an empty one.
type screen struct {
	posts []chat.Post // with choices or an entry, oldest first
	shown map[chat.PostID]bool
	order []chat.PostID
}

func (s *screen) has(id chat.PostID) bool { return id != "" && s.shown[id] }

// add remembers a post; one that it replaces can no longer be picked from.
func (s *screen) add(p chat.Post) {
	if s.shown == nil {
		s.shown = map[chat.PostID]bool{}
	}
	s.shown[p.ID] = true
	s.order = append(s.order, p.ID)
	if len(s.order) > mostShown {
		delete(s.shown, s.order[0])
		s.order = s.order[1:]
	}
	if p.Edit != "" {
		for i := range s.posts {
			if s.posts[i].ID == p.Edit {
				s.posts[i].Choices = nil
			}
		}
	}
	if len(p.Choices) == 0 {
		return
	}
	s.posts = append(s.posts, p)
	if len(s.posts) > mostPosts {
		s.posts = s.posts[1:]
	}
}

// sees tells whether a post stands where a person is talking.
func sees(p chat.Post, where chat.Place, who chat.Person) bool {
	if p.To.Only != "" && p.To.Only != who {
		return false
	}
	if p.To.Place == "" {
		return where == place("@dm", who)
	}
	return p.To.Place == where
}

// last is the newest post with choices that a person sees in one of the places.
func (s *screen) last(who chat.Person, places ...chat.Place) (chat.Post, bool) {
	for i := len(s.posts) - 1; i >= 0; i-- {
		p := s.posts[i]
		if len(p.Choices) > 0 && slices.ContainsFunc(places, func(where chat.Place) bool { return sees(p, where, who) }) {
			return p, true
		}
	}
	return chat.Post{}, false
}

// find looks for a choice by its label or number, newest post first; on names
// the entry whose post it must be, "" for any.
func (s *screen) find(where chat.Place, who chat.Person, label, on string) (chat.Post, chat.Choice, bool) {
	for i := len(s.posts) - 1; i >= 0; i-- {
		p := s.posts[i]
		if !sees(p, where, who) || on != "" && !tells(p, on) {
			continue
		}
		if c, ok := pick(p, label); ok {
			return p, c, true
		}
	}
	return chat.Post{}, chat.Choice{}, false
}

// tells whether a post tells of an entry, given as "412" or "412.3".
func tells(p chat.Post, on string) bool {
	whole, _, _ := strings.Cut(on, ".")
	return strconv.FormatInt(p.Entry, 10) == whole
}

// pick finds a choice on a post: first by its label, then by its number.
func pick(p chat.Post, said string) (chat.Choice, bool) {
	said = strings.Join(strings.Fields(said), " ")
	for _, c := range p.Choices {
		if strings.EqualFold(strings.Join(strings.Fields(harmless(c.Label)), " "), said) {
			return c, true
		}
	}
	for _, c := range p.Choices {
		if strconv.Itoa(c.Number) == said {
			return c, true
		}
	}
	return chat.Choice{}, false
}
