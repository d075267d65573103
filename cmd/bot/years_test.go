package main

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// years is a data directory as a bot has it after years in many servers: what a few
// places said was played by the desk, and stands in thousands of places more, each
// with a ledger of its own, chained anew, with its players and its posts.
type years struct {
	testing.TB
	path   string
	dir    directory
	from   []kept
	said   int          // lines
	places int          // that were made
	posts  atomic.Int64 // that were sent
}

// kept is one ledger to be copied.
type kept struct {
	about   storage.About
	records []storage.Record
	players []storage.Player
	secret  []byte
	vkey    string
	post    []byte // one that it said
}

const (
	yearsServer = "discord:4194304001" // where it was played
	perServer   = 5                    // places of a server
	perDay      = 20                   // one place in so many was played in since the last checkpoint of a day
)

// crowd is what people say in the places that are copied: rolls in a channel, and a
// battle with rolls beside it.
var crowd = map[chat.Place][]string{
	"discord:41943041": rollsOf(150),
	"discord:41943042": append([]string{
		"ann " + militia, "bo " + militia,
		"ann /battle open Bo 500 Drowned Bridge, 3 turns",
		"bo [Accept]",
	}, rollsOf(40)...),
}

const militia = "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nMarram\nBarge"

// rollsOf are n rolls of two people.
func rollsOf(n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf("%s /roll %dd6 %d+ for the weir, line %d", []string{"ann", "bo"}[i%2], 6+i%9, 3+i%3, i))
	}
	return out
}

// newYears plays the crowd in a new directory.
func newYears(t testing.TB, path string) *years {
	y := &years{TB: t, path: path}
	h := y.open()
	s := &sink{}
	h.adapters[discord.Name] = s
	for place, lines := range crowd {
		for _, line := range lines {
			y.say(h, s, place, line)
		}
	}
	for head, err := range h.store.Ledgers(y.ctx()) {
		y.must(err)
		y.from = append(y.from, y.keep(h.store, head))
	}
	y.dir = h.directory
	y.must(h.close())
	return y
}

func (y *years) ctx() context.Context { return context.Background() }

// must ends the benchmark; it is called by many goroutines.
func (y *years) must(err error) {
	if err != nil {
		panic(err)
	}
}

func (y *years) open() *house {
	h, err := openHouse(y.ctx(), plan{data: y.path, log: slog.New(slog.DiscardHandler)})
	y.must(err)
	return h
}

// sink takes every post, and remembers the last with choices.
type sink struct {
	n     int
	asked chat.Post
}

func (*sink) Run(context.Context, chat.Desk) error { return nil }
func (*sink) Limits() chat.Limits {
	return chat.Limits{Characters: 2000, Choices: 25, FileBytes: 1 << 20}
}

func (s *sink) Send(_ context.Context, p chat.Post) (chat.Receipt, error) {
	if s.n++; len(p.Choices) > 0 {
		s.asked = p
	}
	return chat.Receipt{Ref: fmt.Sprint(4194304000000 + s.n)}, nil
}

// say lets somebody say a line, or tap what it names in brackets.
func (y *years) say(h *house, s *sink, place chat.Place, line string) {
	who, text, _ := strings.Cut(line, " ")
	y.said++
	m := chat.Message{Source: chat.Source(fmt.Sprintf("discord:years/%d", y.said)), Community: yearsServer, Place: place, Time: time.Now(),
		Person: chat.Person("discord:4194304" + map[string]string{"ann": "11", "bo": "12"}[who]), Name: strings.ToUpper(who[:1]) + who[1:], Text: text, Named: map[chat.Person]string{"discord:419430412": "Bo"}}
	if label, tap := strings.CutPrefix(text, "["); tap {
		for _, c := range s.asked.Choices {
			if c.Label == strings.TrimSuffix(label, "]") {
				m.Text, m.Tap = "", &chat.Tap{Post: s.asked.ID, Number: c.Number}
			}
		}
	}
	posts, err := h.desk.Handle(y.ctx(), m)
	y.must(err)
	for _, p := range posts {
		if p.Error != "" {
			y.Fatalf("%s: %v", line, p.Lines)
		}
		_, _ = s.Send(y.ctx(), p)
	}
	y.must(h.settle(y.ctx()))
}

// keep reads one ledger with what lies beside it.
func (y *years) keep(s storage.Store, head storage.Head) kept {
	var p kept
	var err error
	p.about, err = s.About(y.ctx(), head.Ledger)
	y.must(err)
	p.players, err = s.Players(y.ctx(), head.Ledger)
	y.must(err)
	if p.secret, err = s.Secret(y.ctx(), head.Ledger); !errors.Is(err, storage.ErrNone) {
		y.must(err)
	}
	for e, err := range s.Read(y.ctx(), head.Ledger, 0, head.Size) {
		y.must(err)
		rec, err := storage.Parse(e.Bytes)
		y.must(err)
		p.records = append(p.records, rec)
	}
	var open struct {
		VKey string `json:"vkey"`
	}
	y.must(json.Unmarshal(p.records[0].Args, &open))
	p.vkey = open.VKey
	if post, _, err := s.Post(y.ctx(), storage.PostID{Ledger: head.Ledger, Seq: head.Size - 1}); err == nil {
		p.post = post.Bytes
	}
	return p
}

// fill makes places until the store has so many bytes.
func (y *years) fill(bytes int64) {
	s, err := bolt.Open(y.dir.store(), bolt.Options{})
	y.must(err)
	const atOnce = 256
	for {
		info, err := os.Stat(y.dir.store())
		y.must(err)
		if info.Size() >= bytes {
			break
		}
		var all sync.WaitGroup
		for range atOnce {
			n := y.places
			y.places++
			all.Go(func() { y.place(s, n) })
		}
		all.Wait()
	}
	for n := 0; n < y.places; n += perDay {
		y.must(s.Shelf("unbound").Put(y.ctx(), storage.KeyValue{Key: fmt.Sprintf("discord:6%06d", n), Value: []byte{1}}))
	}
	y.must(s.Close())
}

// place makes one place more, and the server of every few.
func (y *years) place(s storage.Store, n int) {
	from := y.from[n%len(y.from)]
	server, place := fmt.Sprintf("discord:5%06d", n/perServer), fmt.Sprintf("discord:6%06d", n)
	id := sha256.Sum256([]byte(place))
	head := storage.Head{Ledger: storage.LedgerID(id[:16]), Root: storage.EmptyRoot()}
	length := len(from.records)
	if n%3 != 0 {
		length = 2 + n*7919%(length-2) // others stopped earlier
	}
	vkey, err := storage.VKey(y.dir.name, head.Ledger, y.dir.key.Public().(ed25519.PublicKey))
	y.must(err)
	records := slices.Clone(from.records[:length])
	records[0].Args = storage.Object(strings.Replace(string(records[0].Args), from.vkey, vkey, 1))
	entries, err := proof.Lines(head, records)
	y.must(err)
	for i, e := range entries {
		b := storage.Batch{Expect: head, Entries: entries[i : i+1], Source: storage.Source(records[i].Source)}
		if head.Size == 0 {
			b.Community, b.Place, b.Salt, b.Players, b.Secret = server, place, from.about.Salt, from.players, from.secret
		}
		b.Posts = []storage.Post{{Place: place, Bytes: from.post, Open: true}}
		y.must(s.Append(y.ctx(), b))
		head.Size, head.Last = e.Seq+1, storage.LeafHash(e.Bytes)
		y.must(s.MarkSent(y.ctx(), storage.PostID{Ledger: head.Ledger, Seq: e.Seq}, fmt.Sprint(n, ".", e.Seq)))
		y.posts.Add(1)
	}
	if n%perServer == 0 {
		y.must(s.Shelf("people").Put(y.ctx(), y.people(server)...))
	}
}

// people are those who have spoken in a server.
func (y *years) people(server string) []storage.KeyValue {
	var out []storage.KeyValue
	for i := range 8 {
		out = append(out, storage.KeyValue{Key: fmt.Sprint(server, "\n", server, i), Value: fmt.Appendf(nil, `{"name":"Ann %d"}`, i)})
	}
	return out
}

// pocket fills the pocket of Discord with where all those posts stand.
func (y *years) pocket() {
	p, err := bolt.OpenPocket(filepath.Join(y.path, discord.Name+".pocket"))
	y.must(err)
	n := int(y.posts.Load())
	keys := make([]string, n)
	for i := range keys {
		sum := sha256.Sum256(fmt.Append(nil, i))
		keys[i] = base64.RawURLEncoding.EncodeToString(sum[:])[:25]
	}
	slices.Sort(keys)
	at := time.Now().Add(-time.Hour)
	part := map[string][]byte{}
	put := func(key string, value []byte) {
		if part[key] = value; len(part) >= 10_000 {
			y.must(p.Commit(y.ctx(), part))
			part = map[string][]byte{}
		}
	}
	for i, key := range keys {
		put("post/"+key, fmt.Appendf(nil, `{"channel":"%d","message":"%d","time":"%s"}`, 1_000_000_000_000_000_000+i, 2_000_000_000_000_000_000+i, at.Format(time.RFC3339)))
	}
	for i := range keys {
		put(fmt.Sprint("msg/", uint64(at.UnixMilli()-1420070400000)<<22+uint64(i)), fmt.Appendf(nil, `{"post":"%s/12/0","entry":12}`, strings.Repeat("x", 26)))
	}
	y.must(p.Commit(y.ctx(), part))
	y.must(p.Close())
}

func middle(all []time.Duration) time.Duration {
	slices.Sort(all)
	return all[len(all)/2]
}
