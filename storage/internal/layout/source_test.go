package layout

import (
	"bytes"
	"encoding/json"
	"testing"

	"drumhead/storage"
)

var sourceCases = map[string]storage.Source{
	`{"source":"a"}`:                           "a",
	`{"args":{"source":"x"},"source":"a"}`:     "a",
	`{"args":{"source":"x"}}`:                  "",
	`{"events":[{"source":"x"}],"source":"a"}`: "a",
	`{"events":[{"source":"x"}]}`:              "",
	`{"a":"\"source\":\"x\"","source":"b"}`:    "b",
	`{"a":"{","source":"b"}`:                   "b",
	`{"a":"\\","source":"b"}`:                  "b",
	`{"a":"\\\"","source":"b\"c\\d"}`:          `b"c\d`,
	`{"a":"source","b":"c"}`:                   "",
	`{"source":7}`:                             "",
	`{"source":""}`:                            "",
	`[{"source":"x"}]`:                         "",
	`["source","x"]`:                           "",
	`{"sources":"x"}`:                          "",
	`{"source":"a`:                             "a",
	`{"source":"`:                              "",
	``:                                         "",
}

func TestSourceOf(t *testing.T) {
	for entry, want := range sourceCases {
		if got := SourceOf([]byte(entry)); got != want {
			t.Errorf("%s: %q, want %q", entry, got, want)
		}
	}
}

func TestFingerprint(t *testing.T) {
	if Fingerprint("") != 0 {
		t.Error("no source has a fingerprint")
	}
	// The first eight bytes of the digest of "abc" in FIPS 180-4's example.
	if got := Fingerprint("abc"); got != 0xba7816bf8f01cfea {
		t.Errorf("%x", got)
	}
}

// FuzzSourceOf compares the scan with encoding/json wherever the entry is in
// one canonical spelling.
func FuzzSourceOf(f *testing.F) {
	for entry := range sourceCases {
		f.Add([]byte(entry))
	}
	f.Fuzz(func(t *testing.T, entry []byte) {
		got := SourceOf(entry)
		var parsed map[string]any
		if json.Unmarshal(entry, &parsed) != nil {
			return
		}
		var again bytes.Buffer
		out := json.NewEncoder(&again)
		out.SetEscapeHTML(false)
		if out.Encode(parsed) != nil || !bytes.Equal(bytes.TrimSuffix(again.Bytes(), []byte("\n")), entry) {
			return
		}
		if want, _ := parsed["source"].(string); string(got) != want {
			t.Errorf("%s: %q, want %q", entry, got, want)
		}
	})
}

// FuzzRecords feeds every decoder with records whose check sum is right and
// whose bytes are anything: they may err, never panic.
func FuzzRecords(f *testing.F) {
	all := samples(f)
	for _, s := range all {
		f.Add(s.record[:len(s.record)-4])
	}
	packer := NewPacker()
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, s := range all {
			for _, table := range Tables() {
				_, _ = s.decode(s.key, (&writer{b: bytes.Clone(body)}).closed(table, s.key))
			}
		}
		key := PageKey(ledger, 64)
		if page, err := DecodePage(key, (&writer{b: bytes.Clone(body)}).closed(Ledgers, key)); err == nil {
			_, _ = packer.Unpack(page)
		}
	})
}
