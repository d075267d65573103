package storagetest

import (
	"fmt"
	"strings"
	"time"

	"drumhead/storage"
)

// say appends an entry with one post for each place.
func (k *book) say(places ...string) (first storage.PostID) {
	k.b.Helper()
	batch := k.next(1)
	for i, place := range places {
		batch.Posts = append(batch.Posts, storage.Post{Place: place, Bytes: fmt.Appendf(nil, "%d.%d", k.tree.Size(), i), Open: strings.HasPrefix(place, "open")})
	}
	first = storage.PostID{Ledger: k.id, Seq: k.tree.Size()}
	k.append(batch)
	return first
}

// outbox gives the waiting posts as "place:text", in order.
func (b *bench) outbox(max int) string {
	b.Helper()
	posts, err := b.store.Outbox(b.ctx, max)
	b.ok(err)
	var all []string
	for _, p := range posts {
		if p.Waiting.IsZero() {
			b.Fatalf("post %v waits since no time", p.ID)
		}
		all = append(all, p.Place+":"+string(p.Bytes))
	}
	return strings.Join(all, " ")
}

func postCases() []tested {
	return []tested{
		{"order in a place", orderInPlace},
		{"order when the clock goes backwards", orderAgainstClock},
		{"fairness over places", fairness},
		{"waiting after reopening", waitingAfterReopening},
		{"marked: never offered again, with its receipt", marking},
		{"marked twice, or unknown: nil", markedTwice},
		{"a receipt that is too long", longReceipt},
		{"a receipt leads to the post that was marked last", lastReceipt},
		{"open posts, newest first, at most 32", openNewestFirst},
		{"texts go after 7 days, the rest stays", pruning},
		{"the wake-up call", wakeUp},
	}
}

func orderInPlace(b *bench) {
	k, m := b.book(1), b.book(0)
	for range 3 {
		k.say("fen", "fen")
		m.say("fen")
	}
	equal(b, "outbox", b.outbox(100), "fen:0.0 fen:0.1 fen:0.0 fen:1.0 fen:1.1 fen:1.0 fen:2.0 fen:2.1 fen:2.0")
	equal(b, "the first four", b.outbox(4), "fen:0.0 fen:0.1 fen:0.0 fen:1.0")
	equal(b, "none", b.outbox(0), "")
}

func orderAgainstClock(b *bench) {
	k := b.book(1)
	k.say("fen")
	b.clock.Advance(-time.Hour)
	k.say("fen")
	b.clock.Advance(-time.Hour)
	k.say("fen")
	equal(b, "outbox", b.outbox(9), "fen:0.0 fen:1.0 fen:2.0")
}

func fairness(b *bench) {
	k, m := b.book(1), b.book(2)
	for range 50 {
		k.say("loud")
	}
	m.say("quiet", "still")
	equal(b, "outbox", b.outbox(5), "loud:0.0 quiet:0.0 still:0.1 loud:1.0 loud:2.0")
	equal(b, "fewer than places", b.outbox(2), "loud:0.0 quiet:0.0")
}

func waitingAfterReopening(b *bench) {
	k := b.book(1)
	k.say("fen", "mill")
	since, _ := b.store.Outbox(b.ctx, 1)
	b.reopen()
	equal(b, "outbox", b.outbox(9), "fen:0.0 mill:0.1")
	again, _ := b.store.Outbox(b.ctx, 1)
	equal(b, "since", again[0].Waiting, since[0].Waiting)
	equal(b, "the clock's time", again[0].Waiting, b.clock.Now())
}

func markedTwice(b *bench) {
	k := b.book(1)
	id := k.say("fen")
	b.ok(b.store.MarkSent(b.ctx, id, "m1"))
	b.ok(b.store.MarkSent(b.ctx, id, "m2"))
	for _, unknown := range []storage.PostID{
		{Ledger: k.id, Seq: 0, N: 1}, {Ledger: k.id, Seq: 0, N: -1}, {Ledger: k.id, Seq: 5}, {Ledger: LedgerNumber(8)}, {Ledger: k.id, Seq: 1 << 40},
	} {
		b.ok(b.store.MarkSent(b.ctx, unknown, "m3"))
		_, _, err := b.store.Post(b.ctx, unknown)
		b.refused(err, storage.ErrNone)
	}
	b.reopen()
	_, receipt, err := b.store.Post(b.ctx, id)
	b.ok(err)
	equal(b, "receipt", receipt, "m1")
	_, err = b.store.PostOf(b.ctx, "fen", "m2")
	b.refused(err, storage.ErrNone)
}

func longReceipt(b *bench) {
	id := b.book(1).say("fen")
	b.refused(b.store.MarkSent(b.ctx, id, strings.Repeat("m", storage.MaxName+1)), storage.ErrInvalid)
	b.ok(b.store.MarkSent(b.ctx, id, strings.Repeat("m", storage.MaxName)))
	equal(b, "outbox", b.outbox(9), "")
}

func lastReceipt(b *bench) {
	k := b.book(1)
	first, second := k.say("fen"), k.say("fen")
	b.ok(b.store.MarkSent(b.ctx, first, "m1"))
	b.ok(b.store.MarkSent(b.ctx, second, "m1")) // an edit of the first
	for range 2 {
		id, err := b.store.PostOf(b.ctx, "fen", "m1")
		b.ok(err)
		equal(b, "post", id, second)
		_, err = b.store.PostOf(b.ctx, "mill", "m1")
		b.refused(err, storage.ErrNone)
		b.reopen()
	}
}

func openNewestFirst(b *bench) {
	k := b.book(1)
	k.say("open", "fen", "open")
	equal(b, "open", b.openPosts("open"), "0.2 0.0")
	for range 40 {
		k.say("open")
	}
	equal(b, "how many", strings.Count(b.openPosts("open"), "."), 32)
	equal(b, "the newest", strings.HasPrefix(b.openPosts("open"), "40.0 39.0 "), true)
	equal(b, "another place", b.openPosts("fen"), "")
}

func wakeUp(b *bench) {
	k := b.book(1)
	k.grow(1)
	select {
	case <-b.store.Wake():
		b.Error("woken for an entry without posts")
	default:
	}
	for range 3 {
		k.say("fen")
	}
	select {
	case <-b.store.Wake():
	case <-time.After(10 * time.Second):
		b.Error("not woken for posts")
	}
}

func (b *bench) openPosts(place string) string {
	b.Helper()
	ids, err := b.store.Open(b.ctx, place)
	b.ok(err)
	var all []string
	for _, id := range ids {
		all = append(all, fmt.Sprintf("%d.%d", id.Seq, id.N))
	}
	return strings.Join(all, " ")
}

func marking(b *bench) {
	k := b.book(1)
	first := k.say("fen", "mill", "fen")
	second := storage.PostID{Ledger: k.id, Seq: 0, N: 1}
	b.ok(b.store.MarkSent(b.ctx, first, "m1"))
	check := func(outbox string) {
		b.Helper()
		equal(b, "outbox", b.outbox(9), outbox)
		post, receipt, err := b.store.Post(b.ctx, first)
		b.ok(err)
		equal(b, "sent", fmt.Sprint(post.Place, string(post.Bytes), post.Waiting.IsZero(), receipt), "fen0.0truem1")
		id, err := b.store.PostOf(b.ctx, "fen", "m1")
		b.ok(err)
		equal(b, "found by receipt", id, first)
		post, receipt, err = b.store.Post(b.ctx, storage.PostID{Ledger: k.id, N: 2})
		b.ok(err)
		equal(b, "waiting", fmt.Sprint(post.Place, post.Waiting.Equal(b.clock.Now()), receipt), "fentrue")
	}
	check("mill:0.1 fen:0.2")
	k.say("fen")
	check("mill:0.1 fen:0.2 fen:1.0")
	b.reopen()
	check("mill:0.1 fen:0.2 fen:1.0")
	b.ok(b.store.MarkSent(b.ctx, second, ""))
	check("fen:0.2 fen:1.0")
	b.reopen()
	check("fen:0.2 fen:1.0")
	b.healthy()
}

func pruning(b *bench) {
	k := b.book(1)
	sent, waiting := k.say("fen"), k.say("fen")
	b.ok(b.store.MarkSent(b.ctx, sent, "m1"))
	text := func(id storage.PostID) string {
		b.Helper()
		post, _, err := b.store.Post(b.ctx, id)
		b.ok(err)
		return string(post.Bytes)
	}
	k.grow(1)
	b.clock.Advance(storage.KeepPosts)
	k.grow(1)
	equal(b, "at 7 days", text(sent), "0.0")
	b.clock.Advance(time.Millisecond)
	equal(b, "just after", text(sent), "")
	k.grow(1)
	b.reopen()
	equal(b, "sent", text(sent), "")
	equal(b, "waiting", text(waiting), "1.0")
	id, err := b.store.PostOf(b.ctx, "fen", "m1")
	b.ok(err)
	equal(b, "found by receipt", id, sent)
	b.healthy()
}
