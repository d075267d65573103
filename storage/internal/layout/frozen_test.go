package layout

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"drumhead/storage"
)

var (
	ledger = storage.LedgerID{0x10, 0x32, 0x54, 0x76, 0x98, 0xba, 0xdc, 0xfe, 1, 2, 3, 4, 5, 6, 7, 8}
	postID = storage.PostID{Ledger: ledger, Seq: 210, N: 2}
)

// filled is a hash that is easy to see in hex.
func filled(b byte) (h storage.Hash) {
	for i := range h {
		h[i] = b
	}
	return h
}

// sample is one record, made and read back.
type sample struct {
	name   string
	key    []byte
	record []byte
	want   any
	decode func(key, record []byte) (any, error)
}

// got puts a decoder's answers together.
func got[V any](v V, err error) (any, error) { return v, err }

// samples has a record of every kind. What it gives is frozen in
// testdata/format1.txt: stores that exist are read by it.
func samples(t testing.TB) []sample {
	t.Helper()
	head := Head{Size: 3, Last: filled(0xaa), Frontier: []storage.Hash{filled(1), filled(2)}, Prints: []uint64{7, 0, 9},
		About: storage.About{Community: "osier", Place: "weir", Salt: []byte("0123456789abcdef")}}
	head.Root = storage.NodeHash(filled(1), filled(2))
	posts := Posts{Since: 1_795_000_000_000_000, First: 208, Each: []Post{
		{Place: "weir", Open: true, Bytes: []byte("waiting")},
		{Place: "mill", Sent: true, SentAt: 1_795_000_000_123, Receipt: "m1", Bytes: []byte{}},
		{Place: "fen", Sent: true, SentAt: 1_795_000_000_124, Pruned: true},
	}}
	vault, err := NewVault(bytes.Repeat([]byte{5}, KeyLen), nil, bytes.NewReader(bytes.Repeat([]byte{6}, 24)))
	if err != nil {
		t.Fatal(err)
	}
	clear, err := NewVault(nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	secretKey := SecretKey(ledger)
	sealed, err := vault.Seal(secretKey, []byte("secret"))
	if err != nil {
		t.Fatal(err)
	}
	open, err := clear.Seal(secretKey, []byte("secret"))
	if err != nil {
		t.Fatal(err)
	}
	queue := QueueKey(posts.Since, ledger, 210)
	queued := []Queued{{0, "weir"}, {2, "fen"}}
	due := DueKey(1_795_000_000_123, ledger, "turn")
	player := Player{Seq: 210, N: 1, Person: "ann"}
	place := Place{Ledger: ledger, Open: []storage.PostID{postID, {Ledger: ledger, Seq: 4}}}
	wordKey, receiptKey, shelfKey := WordKey(ledger, 210, "label"), ReceiptKey("weir", "m1"), ShelfKey("settings", "cut")
	type word struct {
		salt []byte
		text string
	}
	return []sample{
		{"head", HeadKey(ledger), EncodeHead(HeadKey(ledger), head), head, func(k, r []byte) (any, error) { return got(DecodeHead(k, r)) }},
		{"posts", PostsKey(ledger, 210), EncodePosts(PostsKey(ledger, 210), posts), posts, func(k, r []byte) (any, error) { return got(DecodePosts(k, r)) }},
		{"waiting", queue, EncodeQueued(queue, queued), queued, func(k, r []byte) (any, error) { return got(DecodeQueued(k, r)) }},
		{"sent", queue, EncodeSent(queue), nil, func(k, r []byte) (any, error) { return nil, DecodeSent(k, r) }},
		{"receipt", receiptKey, EncodeReceipt(receiptKey, postID), postID, func(k, r []byte) (any, error) { return got(DecodeReceipt(k, r)) }},
		{"place", PlaceKey("weir"), EncodePlace(PlaceKey("weir"), place), place, func(k, r []byte) (any, error) { return got(DecodePlace(k, r)) }},
		{"due", TimerKey(ledger, "turn"), EncodeDue(TimerKey(ledger, "turn"), 1_795_000_000_123), uint64(1_795_000_000_123),
			func(k, r []byte) (any, error) { return got(DecodeDue(k, r)) }},
		{"timer", due, EncodeTimer(due, []byte("turn over")), []byte("turn over"), func(k, r []byte) (any, error) { return got(DecodeTimer(k, r)) }},
		{"player", PlayerKey(ledger, "p1"), EncodePlayer(PlayerKey(ledger, "p1"), player), player, func(k, r []byte) (any, error) { return got(DecodePlayer(k, r)) }},
		{"word", wordKey, EncodeWord(wordKey, []byte("fedcba9876543210"), "for the mill"), word{[]byte("fedcba9876543210"), "for the mill"},
			func(k, r []byte) (any, error) { salt, text, err := DecodeWord(k, r); return word{salt, text}, err }},
		{"value", shelfKey, EncodeValue(shelfKey, []byte("sealed")), []byte("sealed"), func(k, r []byte) (any, error) { return got(DecodeValue(k, r)) }},
		{"meta", []byte("format"), EncodeMeta([]byte("format"), []byte{0, 0, 0, 1}), []byte{0, 0, 0, 1}, func(k, r []byte) (any, error) { return got(DecodeMeta(k, r)) }},
		{"secret in clear", secretKey, open, []byte("secret"), func(k, r []byte) (any, error) { return got(clear.Open(k, r)) }},
		{"secret sealed", secretKey, sealed, []byte("secret"), func(k, r []byte) (any, error) { return got(vault.Open(k, r)) }},
	}
}

// frozen reads testdata: lines of name, key and record in hex, parted by tabs.
func frozen(t testing.TB) map[string][2]string {
	t.Helper()
	f, err := os.Open("testdata/format1.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines := map[string][2]string{}
	for in := bufio.NewScanner(f); in.Scan(); {
		if part := strings.Split(in.Text(), "\t"); len(part) == 3 {
			lines[part[0]] = [2]string{part[1], part[2]}
		}
	}
	return lines
}

func TestRecordsAreFrozen(t *testing.T) {
	lines := frozen(t)
	all := samples(t)
	if len(lines) != len(all)+1 { // and the page
		t.Errorf("%d records in testdata, %d are made here", len(lines), len(all)+1)
	}
	for _, s := range all {
		want := lines[s.name]
		if key, record := hex.EncodeToString(s.key), hex.EncodeToString(s.record); key != want[0] || record != want[1] {
			t.Errorf("a record changed:\n%s\t%s\t%s\nwas\n%s\t%s", s.name, key, record, want[0], want[1])
		}
		if v, err := s.decode(s.key, s.record); err != nil || !reflect.DeepEqual(v, s.want) {
			t.Errorf("%s reads back as %+v, %v; want %+v", s.name, v, err, s.want)
		}
	}
}

// pageEntries are those of the frozen page.
func pageEntries() (entries [][]byte, prints [PageSize]uint64, root storage.Hash) {
	var tree storage.Frontier
	for i := range PageSize {
		e := fmt.Appendf(nil, `{"command":"roll","seq":%d,"source":"s%d"}`, i, i)
		entries = append(entries, e)
		prints[i] = Fingerprint(SourceOf(e))
		tree.Add(storage.LeafHash(e))
	}
	return entries, prints, tree.Root()
}

// A page may be packed otherwise by another version of the compressor; what
// was packed by any of them must unpack.
func TestFrozenPageUnpacks(t *testing.T) {
	entries, prints, root := pageEntries()
	packer, key := NewPacker(), PageKey(ledger, 64)
	line := frozen(t)["page"]
	old, err := hex.DecodeString(line[1])
	if err != nil || line[0] != hex.EncodeToString(key) {
		t.Fatalf("testdata: key %s, %v", line[0], err)
	}
	for name, record := range map[string][]byte{"frozen": old, "new": packer.Encode(key, root, prints, entries)} {
		page, err := DecodePage(key, record)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if page.Root != root || page.Prints != prints {
			t.Errorf("%s: root or fingerprints differ", name)
		}
		unpacked, err := packer.Unpack(page)
		if err != nil || !reflect.DeepEqual(unpacked, entries) {
			t.Errorf("%s: entries differ, %v", name, err)
		}
	}
}

// Every bit of every record, flipped, is noticed, and so is a record under
// another key.
func TestFlippedBitsAreNoticed(t *testing.T) {
	entries, prints, root := pageEntries()
	pageKey := PageKey(ledger, 64)
	all := append(samples(t), sample{"page", pageKey, NewPacker().Encode(pageKey, root, prints, entries), nil,
		func(k, r []byte) (any, error) { return got(DecodePage(k, r)) }})
	for _, s := range all {
		for bit := range 8 * len(s.record) {
			bad := bytes.Clone(s.record)
			bad[bit/8] ^= 1 << (bit % 8)
			if _, err := s.decode(s.key, bad); err == nil {
				t.Errorf("%s: flipping bit %d went unnoticed", s.name, bit)
			}
		}
		for n := range s.record {
			if _, err := s.decode(s.key, s.record[:n]); err == nil {
				t.Errorf("%s: cut to %d bytes it went unnoticed", s.name, n)
			}
		}
		other := bytes.Clone(s.key)
		other[len(other)-1]++
		if _, err := s.decode(other, s.record); err == nil {
			t.Errorf("%s: it reads under another key", s.name)
		}
	}
}

func TestNewerRecordIsRefused(t *testing.T) {
	key := ShelfKey("settings", "cut")
	w := &writer{b: []byte{Format + 1, 'x'}}
	if _, err := DecodeValue(key, w.closed(Shelves, key)); !errors.Is(err, storage.ErrFormat) {
		t.Errorf("got %v", err)
	}
}

// A secret is tied to its place by the seal itself, not only by the check sum.
func TestSealIsTiedToItsPlace(t *testing.T) {
	vault, err := NewVault(bytes.Repeat([]byte{5}, KeyLen), nil, bytes.NewReader(bytes.Repeat([]byte{6}, 24)))
	if err != nil {
		t.Fatal(err)
	}
	key, other := SecretKey(ledger), SecretKey(storage.LedgerID{1})
	record, err := vault.Seal(key, []byte("secret"))
	if err != nil {
		t.Fatal(err)
	}
	moved := (&writer{b: bytes.Clone(record[:len(record)-4])}).closed(Ledgers, other)
	if secret, err := vault.Open(other, moved); err == nil || !strings.Contains(err.Error(), "another ledger") {
		t.Errorf("swapped, it opens as %q, %v", secret, err)
	}
	if bytes.Contains(record, []byte("secret")) {
		t.Error("the record shows the secret")
	}
	if _, err := vault.Seal(key, nil); err == nil {
		t.Error("sealed without random bytes")
	}
}

// Keys sort as the store needs them to.
func TestKeysSort(t *testing.T) {
	other := ledger
	other[15]++
	ascending := [][]byte{
		PostsKey(ledger, 9), PostsKey(ledger, 256), HeadKey(ledger), TailKey(ledger, 1<<31), TailKey(ledger, 3), SecretKey(ledger),
		PageKey(ledger, 0), PageKey(ledger, 32), WordKey(ledger, 9, ""), WordKey(ledger, 9, "a"), WordKey(ledger, 9, "b"), WordKey(ledger, 10, ""),
		PlayerKey(ledger, "p1"), TimerKey(ledger, "turn"), HeadKey(other),
	}
	for i := 1; i < len(ascending); i++ {
		if bytes.Compare(ascending[i-1], ascending[i]) >= 0 {
			t.Errorf("key %d (%x) does not come before key %d (%x)", i-1, ascending[i-1], i, ascending[i])
		}
	}
	if l, kind, rest, ok := LedgerOf(ascending[9]); !ok || l != ledger || kind != KindWord {
		t.Errorf("taken apart: %v %c %x %v", l, kind, rest, ok)
	} else if seq, name, ok := SeqOf(rest); !ok || seq != 9 || string(name) != "a" {
		t.Errorf("its rest: %d %q %v", seq, name, ok)
	}
	for _, short := range [][]byte{nil, ledger[:]} {
		if _, _, _, ok := LedgerOf(short); ok {
			t.Errorf("%x was taken for a key", short)
		}
	}
	if due, l, name, ok := ParseDueKey(DueKey(7, ledger, "turn")); !ok || due != 7 || l != ledger || name != "turn" {
		t.Errorf("due key: %d %v %q %v", due, l, name, ok)
	}
	if since, l, seq, ok := ParseQueueKey(QueueKey(7, ledger, 210)); !ok || since != 7 || l != ledger || seq != 210 {
		t.Errorf("queue key: %d %v %d %v", since, l, seq, ok)
	}
}
