package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"drumhead/commands"
	"drumhead/commands/proof"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// export writes ledgers as files that anybody can verify.
func export(c *call) error {
	data := c.flags.String("data", "", "data directory (usual: one of your own)")
	place := c.flags.String("place", "", "only the ledgers of this place, as in --place #fen (usual: all)")
	out := c.flags.String("out", ".", "directory to write to")
	said := c.flags.Bool("words", false, "also write what people said, as NAME.words.jsonl")
	if _, err := c.parse(0); err != nil {
		return err
	}
	if *data == "" {
		*data = usualDirectory()
	}
	dir := directory{path: *data}
	if err := dir.readKey(); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is no data directory: it has no %s", *data, keyFile)
		}
		return err
	}
	store, err := bolt.Open(dir.store(), bolt.Options{ReadOnly: true})
	if err != nil {
		return rights(dir.store(), err)
	}
	done, err := exporter{store, dir, *out, *said}.all(c.ctx, *place)
	err = errors.Join(err, store.Close())
	for _, e := range done {
		fmt.Fprintf(c.out, "%s: %d entries, with a checkpoint of exactly so many, of %s\n", e.path, e.size, e.place)
	}
	switch {
	case err != nil:
		return err
	case len(done) == 0 && *place != "":
		return fmt.Errorf("no ledger is of place %q", *place)
	case len(done) == 0:
		fmt.Fprintln(c.out, "There is no ledger yet.")
	default:
		fmt.Fprintf(c.out, "Check with: bot verify %s\n", done[0].path)
	}
	return nil
}

// exporter writes ledgers of a store into a directory.
type exporter struct {
	store storage.Store
	dir   directory // signs the checkpoints
	out   string
	words bool
}

// exported is one ledger that was written.
type exported struct {
	place string
	path  string // of NAME.jsonl
	size  uint64
}

// all writes every ledger, or those of one place.
func (x exporter) all(ctx context.Context, place string) ([]exported, error) {
	if err := os.MkdirAll(x.out, 0o755); err != nil {
		return nil, rights(x.out, err)
	}
	used := map[string]bool{}
	var done []exported
	for head, err := range x.store.Ledgers(ctx) {
		if err != nil {
			return done, err
		}
		about, err := x.store.About(ctx, head.Ledger)
		if err != nil {
			return done, err
		}
		short := about.Place[strings.IndexByte(about.Place, ':')+1:]
		if place != "" && place != about.Place && strings.TrimPrefix(place, "#") != strings.TrimPrefix(short, "#") {
			continue
		}
		name := safeName(short)
		if newest, err := x.store.Of(ctx, about.Place); err != nil || newest != head.Ledger || used[name] {
			name += "-" + head.Ledger.String()[:8]
		}
		used[name] = true
		path, err := x.one(ctx, head, name)
		if err != nil {
			return done, err
		}
		done = append(done, exported{short, path, head.Size})
	}
	return done, nil
}

// one writes a ledger, its checkpoint, and the files that it pins.
func (x exporter) one(ctx context.Context, head storage.Head, name string) (string, error) {
	base := filepath.Join(x.out, name)
	f, err := os.Create(base + ".jsonl")
	if err != nil {
		return "", rights(base+".jsonl", err)
	}
	w := bufio.NewWriter(f)
	tree, pinned, err := x.entries(ctx, head, w)
	if err := errors.Join(err, w.Flush(), f.Close()); err != nil {
		return "", err
	}
	note, err := storage.Checkpoint{Name: x.dir.name, Ledger: head.Ledger, Size: tree.Size(), Root: tree.Root()}.Sign(x.dir.key)
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(base+".checkpoint", note, 0o644); err != nil {
		return "", err
	}
	for hash, file := range pinned {
		if err := os.WriteFile(filepath.Join(x.out, hash+".toml"), file, 0o644); err != nil {
			return "", err
		}
	}
	if x.words {
		return base + ".jsonl", x.spoken(ctx, head, base+".words.jsonl")
	}
	return base + ".jsonl", nil
}

var hashForm = regexp.MustCompile(`"[0-9a-f]{64}"`)

// entries writes the entries up to head and finds the files that they pin: of
// every hash in them, those that lie on the shelf of files.
func (x exporter) entries(ctx context.Context, head storage.Head, w *bufio.Writer) (tree storage.Frontier, pinned map[string][]byte, err error) {
	pinned, looked := map[string][]byte{}, map[string]bool{}
	files := x.store.Shelf("files")
	for e, err := range x.store.Read(ctx, head.Ledger, 0, head.Size) {
		if err != nil {
			return tree, nil, err
		}
		tree.Add(storage.LeafHash(e.Bytes))
		if _, err := w.Write(append(bytes.Clone(e.Bytes), '\n')); err != nil {
			return tree, nil, err
		}
		for _, quoted := range hashForm.FindAll(e.Bytes, -1) {
			hash := string(quoted[1:65])
			if looked[hash] {
				continue
			}
			looked[hash] = true
			switch b, err := files.Get(ctx, hash); {
			case err == nil:
				pinned[hash] = b
			case !errors.Is(err, storage.ErrNone):
				return tree, nil, err
			}
		}
	}
	if tree.Root() != head.Root {
		return tree, nil, &storage.Damaged{Ledger: head.Ledger, Seq: head.Size, What: "the entries do not give the root that was stored"}
	}
	return tree, pinned, nil
}

// spoken writes the words behind a ledger's entries.
func (x exporter) spoken(ctx context.Context, head storage.Head, path string) error {
	var all []storage.Word
	for seq := range head.Size {
		list, err := x.store.Words(ctx, head.Ledger, seq)
		if err != nil || len(list) == 0 {
			if err != nil {
				return err
			}
			continue
		}
		_, err = x.store.Shelf(commands.ShelfHidden).Get(ctx, commands.HiddenKey(head.Ledger, seq))
		if err == nil {
			continue // hidden words stay in the house
		}
		if !errors.Is(err, storage.ErrNone) {
			return err
		}
		all = append(all, list...)
	}
	b, err := proof.FormatWords(all)
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

// safeName keeps of a place's name what is safe as a file's name everywhere.
func safeName(place string) string {
	safe := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return -1
	}, place)
	if safe == "" {
		return "ledger"
	}
	return safe
}
