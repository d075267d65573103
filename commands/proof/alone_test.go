package proof

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// batch asks docs/verify.py about many ledgers in one go: an answer a line.
const batch = `
import sys
sys.path.insert(0, "../../docs")
import verify
for path in sys.argv[1:]:
    try: print(verify.main(path))
    except SystemExit as bad: print(bad)
`

// alone has ledgers checked by the verifier that stands alone: python3 and nothing
// of this program. It gives what it says of each.
func alone(t *testing.T, ledgers ...published) []string {
	t.Helper()
	python, dir := tool(t, "python3"), t.TempDir()
	args := []string{"-B", "-c", batch}
	for i, l := range ledgers {
		path := filepath.Join(dir, fmt.Sprintf("%d.jsonl", i))
		args = append(args, path)
		text := strings.Join(l.lines, "\n") + "\n"
		for name, b := range map[string]string{path: text, filepath.Join(dir, fmt.Sprintf("%d.checkpoint", i)): l.checkpoint} {
			if b == "" {
				continue
			}
			if err := os.WriteFile(name, []byte(b), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	said := strings.Split(strings.TrimSpace(run(t, nil, python, args...)), "\n")
	if len(said) != len(ledgers) {
		t.Fatalf("%d answers for %d ledgers:\n%s", len(said), len(ledgers), strings.Join(said, "\n"))
	}
	return said
}

// published is a ledger's lines and a checkpoint.
type published struct {
	what, rule string
	lines      []string
	checkpoint string
}

// signer is what the stand-alone verifier leaves to openssl, as its page says: with
// whose key a checkpoint is signed.
var signer = map[string]bool{"checkpoint signed by another key": true, "checkpoint of another ledger": true}

// TestAloneVectors: the verifier that stands alone calls the published ledgers good,
// and every tampered one bad.
func TestAloneVectors(t *testing.T) {
	p := protocolVectors(t)
	whole := []published{{"the book", "", p.Book.Lines, p.Book.Checkpoint}}
	for _, b := range p.Small {
		whole = append(whole, published{b.What, "", b.Lines, b.Checkpoint})
	}
	for i, said := range alone(t, whole...) {
		if !strings.HasPrefix(said, "good: ") {
			t.Errorf("%s: %s", whole[i].what, said)
		}
	}
	var tampered []published
	for _, c := range p.Tampered.Cases {
		checkpoint := c.Checkpoint
		if checkpoint == "" {
			checkpoint = p.Book.Checkpoint
		}
		if !signer[c.What] {
			tampered = append(tampered, published{c.What, c.Rule, c.apply(t, p.Book.Lines), checkpoint})
		}
	}
	for i, said := range alone(t, tampered...) {
		if !strings.HasPrefix(said, "bad: ") {
			t.Errorf("%s (%s): %s", tampered[i].what, tampered[i].rule, said)
		}
	}
}
