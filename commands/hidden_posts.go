package commands

import (
	"errors"
	"slices"
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// mostLater is how many entries after the one whose words are hidden are looked
// through for posts that carry them on: an inherited label, a gazette, a report.
const mostLater = 400

// changedPosts adds to an answer the edits of the posts that show an entry's words,
// without them or, when they are put back, as they were. A post that binds holds no
// player's words and is never edited.
func (a *ask) changedPosts(rec storage.Record, list []storage.Word, hide bool, answers ...chat.Post) (*answer, error) {
	out, old := answers, false
	cut, err := a.cutFor(rec.Seq)
	if err != nil {
		return nil, err
	}
	chain := map[uint64]bool{rec.Seq: true} // rolls that go on with one another inherit its label
	if cut > 0 {                            // its dice, and with them its words, were told there
		chain[cut] = true
	}
	views, err := a.carriers(rec)
	if err != nil {
		return nil, err
	}
	for _, v := range views {
		first := rec.Seq
		if v != a.here {
			first = v.head.Size - min(v.head.Size, mostLater)
		}
		for raw, err := range a.desk.store.Read(a.ctx, v.ledger, first, min(v.head.Size, first+mostLater)) {
			if err != nil {
				return nil, err
			}
			later, err := storage.Parse(raw.Bytes)
			if err != nil {
				return nil, err
			}
			if of, ok := entryOf(later); ok && v == a.here && chain[of] {
				chain[later.Seq] = true
			}
			least := leastPart
			if v == a.here && chain[later.Seq] {
				least = 0
			}
			edits, gone, err := a.editsOf(v, later, list, hide, least)
			if err != nil {
				return nil, err
			}
			out, old = append(out, edits...), old || gone
		}
	}
	if old && hide {
		out[0].Lines = append(out[0].Lines, a.say("hide.old", "n", int(storage.KeepPosts.Hours())/24))
	}
	return only(out...)
}

// carriers are the ledgers whose posts may show an entry's words: its own, and those
// of the campaigns that who said them or who asks plays in.
func (a *ask) carriers(rec storage.Record) ([]*view, error) {
	views := []*view{a.here}
	for _, who := range []chat.Person{a.here.person(rec.Player), a.msg.Person} {
		for _, g := range a.desk.somebody(who).Games {
			v, err := a.there(g.Place)
			if err != nil {
				return nil, err
			}
			if _, campaign := proof.CampaignOf(v.game); campaign && !slices.Contains(views, v) {
				views = append(views, v)
			}
		}
	}
	return views, nil
}

// mostPosts is how many posts of one entry are looked at.
const mostPosts = 8

// editsOf are the edits of one entry's posts that show words of at least so many
// letters, or a file that holds them. The store forgets what a post said after
// storage.KeepPosts: a roll or a line for the story is put together again, of another
// it is told that it is gone.
func (a *ask) editsOf(v *view, rec storage.Record, list []storage.Word, hide bool, least int) (out []chat.Post, gone bool, err error) {
	for n := range mostPosts {
		id := storage.PostID{Ledger: v.ledger, Seq: rec.Seq, N: n}
		p, err := a.desk.posted(a.ctx, StoredID(id))
		if errors.Is(err, storage.ErrNone) {
			if _, _, never := a.desk.store.Post(a.ctx, id); n > 0 || never != nil {
				break
			}
			var again bool
			if p, again, err = a.toldAgain(v, rec, list, least == 0); !again && err == nil {
				return out, rec.Wait == nil && speaks(rec.Command), nil
			}
		}
		if err != nil {
			return nil, false, err
		}
		if p.Binds || p.Edit != "" {
			continue
		}
		bare := p
		bare.Lines, bare.Pictures = slices.Clone(p.Lines), slices.Clone(p.Pictures)
		shown := slices.DeleteFunc(slices.Clone(list), func(w storage.Word) bool { return len(w.Text) < least })
		if len(shown) == 0 || !without(&bare, shown, a.say("hide.words")) && !holds(p, a.here, list[0].Seq) {
			continue
		}
		if hide {
			p = bare
		}
		p.Edit, p.ID, p.Notify = StoredID(id), "", nil
		out = append(out, p)
	}
	return out, false, nil
}

// speaks tells whether posts of a command may show people's words that are told
// elsewhere too.
func speaks(command string) bool {
	return strings.HasPrefix(command, "battle.") || strings.HasPrefix(command, "campaign.")
}

// toldAgain puts the post of a roll, or of a line for the story, together again from
// the ledger, with its words; false for another. A roll that waited was told with its
// cut.
func (a *ask) toldAgain(v *view, rec storage.Record, list []storage.Word, own bool) (p chat.Post, ok bool, err error) {
	p = chat.Post{Entry: int64(rec.Seq), To: chat.Destination{Place: v.place}}
	switch {
	case !own || rec.Wait != nil || len(list) == 0:
		return p, false, nil
	case rec.Command == "tell":
		p.Lines = []chat.Line{a.say("tell.kept", "who", v.who(rec.Player), "words", said(list[0].Text), "entry", number(int64(rec.Seq)))}
		return p, true, nil
	case rec.Command == "cut":
		if rec, err = a.whole(v, rec.Seq); err != nil {
			return p, false, err
		}
	}
	if rec.Command != "roll" || rec.Events == nil {
		return p, false, nil
	}
	r, err := (&explained{ask: a, view: v, rec: rec}).rolled()
	if err != nil {
		return p, false, err
	}
	r.label = list[0].Text
	p.Lines = r.facts()
	return p, true, nil
}

// holds tells whether a file of a post is made from an entry's words: made again, it
// is without them.
func holds(p chat.Post, v *view, seq uint64) bool {
	return slices.ContainsFunc(p.Files, func(f chat.Recipe) bool {
		return f.Kind == "report" && f.Ledger == v.ledger.String() && uint64(f.First) <= seq && seq <= uint64(f.Last)
	})
}

// mostTold is how many organisers are told of words that were hidden.
const mostTold = 3

// tellOrganisers are the private posts by which organisers learn what was hidden, and
// can look at it and put it back. Who hid it as an organiser knows already.
func (a *ask) tellOrganisers(rec storage.Record) []chat.Post {
	if a.msg.Organiser {
		return nil
	}
	var out []chat.Post
	for _, who := range a.desk.organisers(a.msg.Community) {
		if who == a.msg.Person || len(out) == mostTold {
			continue
		}
		seq := number64(rec.Seq)
		pick := func(label, how string) chat.Choice {
			return chat.Choice{Label: label, Command: "/hide " + seq + " " + how, Who: []chat.Person{who}, Place: a.here.place}
		}
		out = append(out, chat.Post{To: chat.Destination{Only: who}, Entry: -1, Notify: []chat.Person{who},
			Lines:   []chat.Line{a.say("hide.told", "by", a.desk.who(a.msg.Person), "who", a.here.who(rec.Player), "entry", number(int64(rec.Seq))), a.say("hide.rules")},
			Choices: choices(pick("Show me", "show"), pick("Put back", "back"))})
	}
	return out
}
