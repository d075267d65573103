package proof

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"unicode/utf8"

	"drumhead/engine/reason"
	"drumhead/storage"
)

// Length of a word that cuts, in bytes of UTF-8.
const (
	ShortestWord = 6
	LongestWord  = 200
)

// CutWord takes the word that a player typed to cut another's dice: outer
// blanks, tabs and line ends are removed, nothing else is changed. It returns
// the word and the cut's text, word:HEX; the HEX alone stands in the entry's
// args. The error is a *reason.Refusal.
func CutWord(typed string) (word, cut string, err error) {
	word = strings.Trim(typed, " \t\r\n")
	if n := len(word); n < ShortestWord || n > LongestWord || !utf8.ValidString(word) {
		return "", "", reason.Refuse("/cut the weir holds 4", "proof.refuse.word",
			"bytes", n, "least", ShortestWord, "most", LongestWord)
	}
	return word, "word:" + hashOf(word), nil
}

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// wordLine is one line of a file of words.
type wordLine struct {
	Name string `json:"name"`
	Salt string `json:"salt"` // hex
	Seq  uint64 `json:"seq"`
	Text string `json:"text"`
}

// FormatWords writes what lies beside a ledger, one line a word: the salts and
// texts that hashes in its entries stand for.
func FormatWords(words []storage.Word) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	for _, w := range words {
		if err := e.Encode(wordLine{w.Name, hex.EncodeToString(w.Salt), w.Seq, w.Text}); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}

// ParseWords reads what FormatWords wrote, and no other spelling.
func ParseWords(file []byte) ([]storage.Word, error) {
	var words []storage.Word
	for line := range bytes.Lines(file) {
		var w wordLine
		err := json.Unmarshal(line, &w)
		salt, saltErr := hex.DecodeString(w.Salt)
		if err != nil || saltErr != nil {
			return nil, fmt.Errorf(`words, line %d: {"name":NAME,"salt":HEX,"seq":ENTRY,"text":TEXT} expected`, len(words)+1)
		}
		words = append(words, storage.Word{Seq: w.Seq, Name: w.Name, Salt: salt, Text: w.Text})
	}
	again, err := FormatWords(words)
	if err == nil && !bytes.Equal(again, file) {
		err = fmt.Errorf("words: another spelling than the one")
	}
	return words, err
}
