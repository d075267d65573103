package proof

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"strings"

	"drumhead/storage"
)

// saidAt checks that a `said` is a hash, and keeps it for what opens it.
func (c *checker) saidAt(rec storage.Record) error {
	value, ok := storage.Member(rec.Args, "said")
	if !ok {
		return nil
	}
	hash, _ := storage.Text(value)
	if !isHash(hash) {
		return breaks(storage.RuleForm, "said")
	}
	c.said[rec.Seq] = hash
	return nil
}

// isHash tells whether s is 64 lower-case hex digits.
func isHash(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 32 && hex.EncodeToString(b) == s
}

// opened checks every sealed value that an entry brings into the open: it is
// what an earlier entry said.
func (c *checker) opened(rec storage.Record) error {
	for _, e := range rec.Events {
		if !bytes.Contains(e, []byte(`"opened"`)) || textIn(e, "type") != "opened" {
			continue
		}
		if err := c.openedEvent(rec, e); err != nil {
			return err
		}
		c.Opened++
	}
	return nil
}

func (c *checker) openedEvent(rec storage.Record, event storage.Object) error {
	if err := only(event, "of", "salt", "type", "value"); err != nil {
		return breaks(RuleOpened, "opened.form")
	}
	of, numbered := numberIn(event, "of")
	salt, err := hex.DecodeString(textIn(event, "salt"))
	value, valued := storage.Member(event, "value")
	if !numbered || err != nil || len(salt) != 16 || hex.EncodeToString(salt) != textIn(event, "salt") || !valued || value[0] != '{' {
		return breaks(RuleOpened, "opened.form")
	}
	said, ok := c.said[of]
	if of >= rec.Seq || !ok || Said(salt, string(value)) != said {
		return breaks(RuleOpened, "opened.other", "of", int64(of))
	}
	return nil
}

// spoken checks the words that lie beside an entry: each is what a `said` of
// its args stands for.
func (c *checker) spoken(rec storage.Record) error {
	words := c.words[rec.Seq]
	if len(words) == 0 {
		return nil
	}
	hashes := map[string]bool{}
	var args any
	if err := json.Unmarshal(rec.Args, &args); err != nil {
		return err
	}
	saidIn(args, hashes)
	for _, w := range words {
		if len(w.Salt) != 16 || !hashes[Said(w.Salt, w.Text)] {
			return breaks(RuleWords, "words")
		}
		c.Report.Said++
	}
	delete(c.words, rec.Seq)
	return nil
}

// saidIn collects the hashes of every member of args whose name says that it
// stands for words: `said`, or a name that ends in `_said`.
func saidIn(v any, hashes map[string]bool) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			saidIn(item, hashes)
		}
	case map[string]any:
		for name, item := range v {
			if hash, ok := item.(string); ok && (name == "said" || strings.HasSuffix(name, "_said")) {
				hashes[hash] = true
			}
			saidIn(item, hashes)
		}
	}
}
