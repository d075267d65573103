package storagetest

import (
	"bytes"
	"fmt"

	"drumhead/storage"
)

// besideCases are about what lies beside the entries: words, players, places.
func besideCases() []tested {
	return []tested{
		{"words, in order of name", wordsInOrder},
		{"players, in the order in which they came", playersInOrder},
		{"the ledger of a place", ledgerOfPlace},
		{"every ledger, in order of id", everyLedger},
		{"nothing of an unknown ledger", unknownLedger},
		{"slices may be used again after an append", slicesUsedAgain},
	}
}

func wordsInOrder(b *bench) {
	k := b.book(1)
	batch := k.next(2)
	salt := []byte("fedcba9876543210")
	batch.Words = []storage.Word{
		{Seq: 0, Name: "tale", Salt: salt, Text: "the weir held"},
		{Seq: 0, Name: "label", Salt: salt, Text: ""},
		{Seq: 1, Name: "label", Salt: salt, Text: "über\x00alles\n"},
	}
	k.append(batch)
	words, err := b.store.Words(b.ctx, k.id, 0)
	b.ok(err)
	equal(b, "words", fmt.Sprint(words), fmt.Sprint([]storage.Word{batch.Words[1], batch.Words[0]}))
	words, err = b.store.Words(b.ctx, k.id, 1)
	b.ok(err)
	equal(b, "words", fmt.Sprint(words), fmt.Sprint(batch.Words[2:]))
	for _, none := range []uint64{2, 1 << 32} {
		words, err = b.store.Words(b.ctx, k.id, none)
		b.ok(err)
		equal(b, "none", len(words), 0)
	}
}

func playersInOrder(b *bench) {
	k := b.book(1)
	var want []storage.Player
	for i := range 12 {
		batch := k.next(1)
		batch.Players = []storage.Player{{Pseudonym: fmt.Sprintf("p%d", 2*i+1), Person: fmt.Sprint("ann", i)}, {Pseudonym: fmt.Sprintf("p%d", 2*i+2), Person: fmt.Sprint("bo", i)}}
		want = append(want, batch.Players...)
		k.append(batch)
	}
	again := k.next(1)
	again.Players = want[:1] // once more the same
	k.append(again)
	players, err := b.store.Players(b.ctx, k.id)
	b.ok(err)
	equal(b, "players", fmt.Sprint(players), fmt.Sprint(want))
	other := k.next(1)
	other.Players = []storage.Player{{Pseudonym: "p1", Person: "somebody else"}}
	b.refused(b.store.Append(b.ctx, other), storage.ErrInvalid)
}

func ledgerOfPlace(b *bench) {
	old, young := b.book(1), b.book(2)
	_, err := b.store.Of(b.ctx, old.place)
	b.refused(err, storage.ErrNone)
	old.grow(1)
	of, err := b.store.Of(b.ctx, old.place)
	b.ok(err)
	equal(b, "ledger", of, old.id)
	young.place = old.place
	batch := young.next(1)
	batch.Source, batch.Entries[0].Bytes = "young", Entry(young.id, 0, "young", "")
	young.append(batch)
	old.grow(1)
	of, err = b.store.Of(b.ctx, old.place)
	b.ok(err)
	equal(b, "newest ledger", of, young.id)
	young.say("only posts")
	_, err = b.store.Of(b.ctx, "only posts")
	b.refused(err, storage.ErrNone)
}

func unknownLedger(b *bench) {
	l := LedgerNumber(5)
	_, err := b.store.About(b.ctx, l)
	b.refused(err, storage.ErrNone)
	_, err = b.store.Secret(b.ctx, l)
	b.refused(err, storage.ErrNone)
	players, err := b.store.Players(b.ctx, l)
	b.ok(err)
	equal(b, "players", len(players), 0)
	head, err := b.store.Head(b.ctx, l)
	b.ok(err)
	equal(b, "head", head, storage.Head{Ledger: l, Root: storage.EmptyRoot()})
}

func slicesUsedAgain(b *bench) {
	k := b.book(1)
	batch := k.next(1)
	batch.Secret = []byte("secret")
	batch.Posts = []storage.Post{{Place: "fen", Bytes: []byte("text")}}
	k.append(batch)
	for _, used := range [][]byte{batch.Entries[0].Bytes, batch.Salt, batch.Secret, batch.Posts[0].Bytes} {
		copy(used, bytes.Repeat([]byte("?"), len(used)))
	}
	k.check()
	about, err := b.store.About(b.ctx, k.id)
	b.ok(err)
	secret, err := b.store.Secret(b.ctx, k.id)
	b.ok(err)
	equal(b, "kept", string(about.Salt)+string(secret)+b.outbox(1), "0123456789abcdef"+"secret"+"fen:text")
}

func everyLedger(b *bench) {
	const many = 600
	var want []string
	for n := range many {
		b.book(n).grow(1)
	}
	previous := ""
	for h, err := range b.store.Ledgers(b.ctx) {
		b.ok(err)
		if id := string(h.Ledger[:]); id <= previous && len(want) > 0 {
			b.Fatal("not in order of id")
		}
		previous = string(h.Ledger[:])
		want = append(want, h.Ledger.String())
		equal(b, "size", h.Size, 1)
	}
	equal(b, "ledgers", len(want), many)
	n := 0
	for range b.store.Ledgers(b.ctx) {
		if n++; n == 3 {
			break
		}
	}
	equal(b, "stopped early", n, 3)
}
