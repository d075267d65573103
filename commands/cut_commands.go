package commands

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"regexp"
	"slices"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/beacon"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
)

// Limits of a word that cuts dice, in bytes as the platform gave it.
const (
	LeastWord = 6
	MostWord  = 200
)

func cutCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "cut", Rolls: true, Help: "cut the roll that waits for you, with a word of yours", Example: "/cut seven herons on the weir",
			Params: []args.Param{{Name: "word", Kind: args.Words, Optional: true, Help: "your word, 6 to 200 bytes; a round's signature; end, for no dice; renew, for a new seal"}}}, plan: planCut},
		{Spec: args.Spec{Name: "cut due"}, timer: true, plan: planCutDue},
		{Spec: args.Spec{Name: "seal due"}, timer: true, plan: planSealDue},
	}
}

// afterCut is what somebody typed after /cut, letter for letter.
var afterCut = regexp.MustCompile(`(?is)^\s*(?:@?` + args.Bot + `[:,]?\s+)?/?cut(.*)$`)

// planCut takes a player's word, or the signature of a round that anybody hands in.
func planCut(a *ask) (*answer, error) {
	word := ""
	if m := afterCut.FindStringSubmatch(a.typed); m != nil {
		word = strings.Trim(m[1], " \t\r\n")
	}
	if renews(word) {
		return a.renew()
	}
	v, err := a.cuttingAt()
	if err != nil {
		return nil, err
	}
	if word == "" || strings.EqualFold(word, "help") || word == "?" { // too short for a word that cuts
		return only(a.waitingPost(v))
	}
	if spokenEnd.MatchString(word) {
		return a.endWithout(v, word)
	}
	if handed, err := a.handedIn(v, word); handed != nil || err != nil {
		return handed, err
	}
	for _, p := range v.book.Pending() {
		if p.By != "" && p.By == v.seats[a.msg.Person] {
			return a.cutByWord(v, p, word)
		}
	}
	return nil, a.notYours(v)
}

// cuttingAt is the ledger where something waits for the asker: here, or where
// they play.
func (a *ask) cuttingAt() (*view, error) {
	if len(a.here.book.Pending()) > 0 || a.here.book.Uncut() > 0 {
		return a.here, nil
	}
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		v, err := a.there(g.Place)
		if err != nil {
			return nil, err
		}
		for _, p := range v.book.Pending() {
			if p.By != "" && p.By == v.seats[a.msg.Person] {
				return v, nil
			}
		}
	}
	return a.here, nil
}

// waitingPost lists what waits for a cut.
func (a *ask) waitingPost(v *view) chat.Post {
	p := a.post()
	p.To.Only = a.msg.Person
	say := v.speaker().Say
	for _, w := range v.book.Pending() {
		p.Lines = append(p.Lines, say("cut.waits", "entry", number(int64(w.Seq)), "by", v.who(w.Player), "what", v.awaited(w)))
		if w.By != "" && w.By == v.seats[a.msg.Person] {
			p.Lines = append(p.Lines, say("cut.yours", "least", LeastWord, "most", MostWord))
		}
	}
	if len(p.Lines) == 0 {
		p.Lines = []chat.Line{say("cut.nothing")}
	}
	return p
}

// notYours says why nothing here is for the asker to cut.
func (a *ask) notYours(v *view) error {
	for _, p := range v.book.Pending() {
		if p.By != "" {
			return refuse("", "cut.refuse.others", "entry", number(int64(p.Seq)), "who", v.who(p.By))
		}
		if p.Round > 0 {
			return refuse("", "cut.refuse.round", "entry", number(int64(p.Seq)), "round", p.Round)
		}
	}
	return refuse("/roll 12d6 4+", "cut.refuse.nothing")
}

// cutByWord resolves the entry that waits for the asker's word.
func (a *ask) cutByWord(v *view, p proof.Pending, word string) (*answer, error) {
	sum := sha256.Sum256([]byte(word))
	hash := hex.EncodeToString(sum[:])
	switch {
	case len(word) < LeastWord || len(word) > MostWord:
		return nil, refuse("", "cut.refuse.length", "n", len(word), "least", LeastWord, "most", MostWord)
	case a.now.After(p.Until):
		return nil, refuse("", "cut.refuse.late", "till", a.desk.when(p.Until, a.msg.Person))
	case v.book.WordUsed(hash):
		return nil, refuse("", "cut.refuse.used", "reach", proof.Reach)
	}
	s, err := a.settle(v, p.Seq)
	if err != nil {
		return nil, err
	}
	act, err := a.cut(v, s, "word:"+hash, map[string]any{"of": s.Seq, "word": hash})
	if err != nil {
		return nil, err
	}
	act.tell = second(act.tell, func(d *done) chat.Line {
		return d.after.speaker().Say("cut.said", "who", d.after.who(p.By), "word", said(word))
	})
	return act1(act)
}

// second puts a line under the first one of what an act tells.
func second(tell func(*done) (told, error), line func(*done) chat.Line) func(*done) (told, error) {
	return func(d *done) (told, error) {
		t, err := tell(d)
		if err == nil && len(t.posts) > 0 {
			t.posts[0].Lines = slices.Insert(t.posts[0].Lines, min(1, len(t.posts[0].Lines)), line(d))
		}
		return t, err
	}
}

// handedIn takes the signature of a round that something here waits for, from
// whoever brings it: it proves itself. nil if the text is none.
func (a *ask) handedIn(v *view, text string) (*answer, error) {
	if len(text) != 96 || v.book.Chain() == nil {
		return nil, nil
	}
	if _, err := hex.DecodeString(text); err != nil {
		return nil, nil
	}
	chain, text := v.book.Chain(), strings.ToLower(text)
	if round := v.book.Uncut(); round > 0 && !a.now.Before(chain.Due(round)) {
		if _, err := chain.Verify(round, text); err == nil {
			a.desk.rounds.put(round, text)
			return act1(sealCut(v, text))
		}
	}
	for _, p := range v.book.Pending() {
		if p.Round == 0 || a.now.Before(chain.Due(p.Round)) {
			continue
		}
		if _, err := chain.Verify(p.Round, text); err != nil {
			continue
		}
		if stood, err := a.desk.stood(a.ctx, v, p.Seq); err != nil || !stood {
			if err == nil {
				err = refuse("", "cut.refuse.unsent", "entry", number(int64(p.Seq)))
			}
			return nil, err
		}
		a.desk.rounds.put(p.Round, text)
		act, err := a.cutByRound(v, p, text)
		if err != nil {
			return nil, err
		}
		return act1(act)
	}
	return nil, refuse("", "cut.refuse.signature")
}

// cutByRound resolves an entry whose round is out.
func (a *ask) cutByRound(v *view, p proof.Pending, signature string) (act, error) {
	s, err := a.settle(v, p.Seq)
	if err != nil {
		return act{}, err
	}
	raw, err := hex.DecodeString(signature)
	if err != nil {
		return act{}, err
	}
	sum := sha256.Sum256(raw)
	return a.cut(v, s, beacon.Cut(p.Round, hex.EncodeToString(sum[:])), map[string]any{"of": p.Seq, "signature": signature})
}

// sealCut mixes a round into the seal that waits for one. It needs no post: the
// round stands in the seal's.
func sealCut(v *view, signature string) act {
	return act{place: v.place, command: "seal.cut", bot: true, args: map[string]any{"signature": signature},
		tell: func(*done) (told, error) { return told{cancel: []string{sealTimer}}, nil }}
}

// errNotYet says that a timer has something to do, but cannot do it yet.
var errNotYet = errors.New("commands: not yet")

// planSealDue cuts a seal whose round is out.
func planSealDue(a *ask) (*answer, error) {
	round := a.here.book.Uncut()
	if round == 0 {
		return nil, nil
	}
	signature, ok := a.desk.rounds.get(round)
	if !ok {
		a.beaconGone(round, a.here.sealed())
		return nil, errNotYet
	}
	a.desk.beaconBack(a.here.place)
	return act1(sealCut(a.here, signature))
}

// planCutDue resolves an entry whose round is out, or moves one whose word never
// came.
func planCutDue(a *ask) (*answer, error) {
	of, _, _ := a.values.Entry("of")
	p, ok := pendingAt(a.here, of)
	switch {
	case !ok, p.Lost:
		return nil, nil
	case p.Round == 0 && a.now.Before(p.Until):
		return nil, errNotYet
	case p.Round == 0:
		return a.noWord(p)
	}
	if stood, err := a.desk.stood(a.ctx, a.here, of); err != nil || !stood {
		if err == nil {
			err = errNotYet
		}
		return nil, err
	}
	signature, ok := a.desk.rounds.get(p.Round)
	if !ok {
		a.beaconGone(p.Round, p.Seq)
		return nil, errNotYet
	}
	a.desk.beaconBack(a.here.place)
	act, err := a.cutByRound(a.here, p, signature)
	if err != nil {
		return nil, err
	}
	act.bot = true
	return act1(act)
}

// noWord goes on without the word: with a round of the beacon, or where there is
// none with no cut at all.
func (a *ask) noWord(p proof.Pending) (*answer, error) {
	s, err := a.settle(a.here, p.Seq)
	if err != nil {
		return nil, err
	}
	if a.here.book.Chain() != nil {
		return act1(a.wait(s, a.here.place, "until"))
	}
	act, err := a.cut(a.here, s, proof.NoCut, map[string]any{"of": p.Seq})
	if err != nil {
		return nil, err
	}
	act.bot = true
	act.tell = second(act.tell, func(d *done) chat.Line {
		return d.after.speaker().Say("cut.no_word", "who", d.after.who(p.By))
	})
	return act1(act)
}
