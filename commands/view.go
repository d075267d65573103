package commands

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/storage"

	"golang.org/x/sync/errgroup"
)

// view is one ledger as it stood at a moment: its fold, who is who in it, and
// what is needed to go on with it. A view is never changed: appending makes the
// next one.
type view struct {
	desk   *Desk
	place  chat.Place
	ledger storage.LedgerID
	head   storage.Head
	tree   storage.Frontier
	about  storage.About
	game   proof.Game
	last   storage.Record   // the newest entry; its time is the least for the next
	book   proof.Book       // the dice's side of the ledger: seals, draws, sources
	keys   proof.Keys       // the secret keys behind its seals
	doubt  bool             // the chat may know more of it than this store; see restored.go
	shown  uint64           // the highest entry that our own posts here were seen to tell of
	blind  bool             // our own posts here cannot be read
	unread bool             // they could not be read just now; see unread.go
	lost   []storage.Player // pseudonyms of entries read back, whose persons are not known

	seats   map[chat.Person]string // person → pseudonym
	persons map[string]chat.Person // pseudonym → person
}

// open tells whether the place has a ledger yet.
func (v *view) open() bool { return v.head.Size > 0 }

// person is who stands behind a pseudonym, "" for the bot and for who is forgotten.
func (v *view) person(pseudonym string) chat.Person { return v.persons[pseudonym] }

// speaker says sentences with this ledger's pseudonyms turned into persons.
func (v *view) speaker() words.Speaker {
	return words.Speaker{Catalog: v.desk.words, Who: v.who}
}

// who shows a pseudonym as a person.
func (v *view) who(pseudonym string) chat.Span {
	if p, ok := v.persons[pseudonym]; ok {
		return v.desk.who(p)
	}
	if pseudonym == storage.Bot {
		return chat.Span{Kind: chat.Plain, Text: v.desk.words.Bare("desk.bot")}
	}
	return chat.Span{Kind: chat.Plain, Text: v.desk.words.Bare("desk.somebody")}
}

// view returns the newest view of a place's ledger, from memory or folded from
// the store. A place without a ledger has an empty one.
func (d *Desk) view(ctx context.Context, p chat.Place) (*view, error) {
	if v, ok := d.live.get(p); ok {
		return d.readAgain(ctx, v)
	}
	v := &view{desk: d, place: p, game: proof.NewGame(d.file), book: proof.NewBook(d.chain),
		seats: map[chat.Person]string{}, persons: map[string]chat.Person{}}
	id, err := d.store.Of(ctx, string(p))
	if errors.Is(err, storage.ErrNone) {
		return v, nil
	}
	if err != nil {
		return nil, err
	}
	if err := v.load(ctx, id); err != nil {
		return nil, fmt.Errorf("ledger %s of %s: %w", id, p, err)
	}
	if err := d.doubts(ctx, v); err != nil {
		return nil, err
	}
	d.live.put(p, v)
	return v, nil
}

// load folds a ledger from the store.
func (v *view) load(ctx context.Context, id storage.LedgerID) error {
	store := v.desk.store
	v.ledger = id
	var err error
	if v.about, err = store.About(ctx, id); err != nil {
		return err
	}
	players, err := store.Players(ctx, id)
	if err != nil {
		return err
	}
	v.sit(players)
	if secret, err := store.Secret(ctx, id); err == nil {
		if v.keys, err = proof.ParseKeys(secret); err != nil {
			return err
		}
	} else if !errors.Is(err, storage.ErrNone) {
		return err
	}
	head, err := store.Head(ctx, id)
	if err != nil {
		return err
	}
	for from := uint64(0); from < head.Size; from += foldAtOnce {
		list, err := v.read(ctx, id, from, min(from+foldAtOnce, head.Size))
		if err != nil {
			return err
		}
		for i := range list {
			if err := v.take(list[i].rec, list[i].leaf); err != nil {
				return err
			}
		}
	}
	v.head.Root = v.tree.Root()
	if v.head.Root != head.Root {
		return &storage.Damaged{Ledger: id, Seq: head.Size - 1, What: "the entries do not give the root that was stored"}
	}
	return nil
}

// foldAtOnce is how many entries are parsed side by side before they are folded.
const foldAtOnce = 1024

// parsed is one entry as it is read from the store.
type parsed struct {
	rec  storage.Record
	leaf storage.Hash
}

// read takes entries from the store and parses them on all cores: parsing, not
// reading, is what a long ledger costs.
func (v *view) read(ctx context.Context, id storage.LedgerID, from, to uint64) ([]parsed, error) {
	lines, err := v.desk.linesFrom(ctx, id, from, to)
	if err != nil {
		return nil, err
	}
	out := make([]parsed, len(lines))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	const share = 128
	for first := 0; first < len(lines); first += share {
		g.Go(func() error {
			for i := first; i < min(first+share, len(lines)); i++ {
				rec, err := storage.Parse(lines[i])
				if err != nil {
					return &storage.Damaged{Ledger: id, Seq: from + uint64(i), What: err.Error()}
				}
				out[i] = parsed{rec, storage.LeafHash(lines[i])}
			}
			return nil
		})
	}
	return out, g.Wait()
}

// fold goes on by one entry, on a view of one's own.
func (v *view) fold(rec storage.Record, leaf storage.Hash) error {
	err := v.take(rec, leaf)
	v.head.Root = v.tree.Root()
	return err
}

// take is fold without the root, which a whole ledger needs only once.
func (v *view) take(rec storage.Record, leaf storage.Hash) error {
	var err error
	if v.game, err = v.game.Take(rec); err != nil {
		return fmt.Errorf("entry %d: %w", rec.Seq, err)
	}
	v.tree.Add(leaf)
	v.head = storage.Head{Ledger: v.ledger, Size: rec.Seq + 1, Last: leaf}
	v.last = rec
	v.book, err = v.book.Follow(rec)
	return err
}

// sit takes new pseudonyms up. Only load and next call it.
func (v *view) sit(players []storage.Player) {
	for _, p := range players {
		v.seats[chat.Person(p.Person)] = p.Pseudonym
		v.persons[p.Pseudonym] = chat.Person(p.Person)
	}
}

// copy is a view that may be folded further without touching the old one.
func (v *view) copy(players []storage.Player) *view {
	n := *v
	n.tree = v.tree.Clone()
	if len(players) > 0 {
		n.seats = make(map[chat.Person]string, len(v.seats)+len(players))
		n.persons = make(map[string]chat.Person, len(v.persons)+len(players))
		for who, s := range v.seats {
			n.seats[who], n.persons[s] = s, who
		}
		n.sit(players)
	}
	return &n
}
