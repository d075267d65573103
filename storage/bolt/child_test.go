package bolt

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"drumhead/storage"
	"drumhead/storage/storagetest"
)

// childStore opens the store of a child process as newEvening does.
func childStore() (*Store, error) {
	return Open(os.Getenv("DRUMHEAD_PATH"), Options{Now: storagetest.NewClock().Now, Key: bytes.Repeat([]byte{7}, 32)})
}

// childAppends appends to four ledgers in turn and says so once each append is
// answered, until it is killed or the store gives up.
func childAppends() {
	s, err := childStore()
	if err != nil {
		fmt.Println("open:", err)
		os.Exit(0)
	}
	for i := range 100_000 {
		b := plain(s, 1+i%4, 1+i%5)
		if err := s.Append(childContext, b); err != nil {
			fmt.Println("append:", err)
			os.Exit(0)
		}
		fmt.Println("stored", 1+i%4, b.Expect.Size+uint64(len(b.Entries)))
	}
	fmt.Println("never killed")
}

// plain is a batch with a post, made without a test.
func plain(s storage.Store, ledger, entries int) storage.Batch {
	l := storagetest.LedgerNumber(ledger)
	head, err := s.Head(childContext, l)
	if err != nil {
		fmt.Println("head:", err)
		os.Exit(0)
	}
	b := storage.Batch{Expect: head, Source: storage.Source(fmt.Sprintf("m-%d-%d", ledger, head.Size))}
	if head.Size == 0 {
		b.Community, b.Place, b.Salt = "osier", fmt.Sprint("weir-", ledger), make([]byte, 16)
	}
	for i := range uint64(entries) {
		source := b.Source
		if i > 0 {
			source = ""
		}
		b.Entries = append(b.Entries, storage.Entry{Seq: head.Size + i, Bytes: storagetest.Entry(l, head.Size+i, source, "")})
	}
	b.Posts = []storage.Post{{Place: "mill", Bytes: []byte("post")}}
	return b
}

// answered reads a child's lines: the size of each ledger that was answered
// for, how many answers came, and the last line that is none.
func answered(out io.Reader) (sizes map[int]uint64, n int, other string) {
	sizes = map[int]uint64{}
	for in := bufio.NewScanner(out); in.Scan(); {
		var ledger int
		var size uint64
		if _, err := fmt.Sscanf(in.Text(), "stored %d %d", &ledger, &size); err != nil {
			other = in.Text()
			continue
		}
		sizes[ledger] = size
		n++
	}
	return sizes, n, other
}

// nothingLost opens the store of a child that ended and wants everything that
// was answered for, at most one append more, and no damage.
func (e *evening) nothingLost(sizes map[int]uint64) (unanswered int) {
	e.Helper()
	e.open()
	e.healthy()
	for ledger := 1; ledger <= 4; ledger++ {
		head, err := e.store.Head(e.Context(), storagetest.LedgerNumber(ledger))
		if err != nil || head.Size < sizes[ledger] {
			e.Errorf("ledger %d has %d entries, %d were answered for, %v", ledger, head.Size, sizes[ledger], err)
		}
		if head.Size > sizes[ledger] {
			unanswered++
		}
	}
	if unanswered > 1 {
		e.Errorf("%d appends more than were answered for", unanswered)
	}
	e.close()
	return unanswered
}

// A process killed at any moment loses nothing that it answered for.
func TestKilled(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("there is no kill -9 on Windows")
	}
	e := newEvening(t)
	e.close()
	rng := rand.New(rand.NewPCG(1, 9))
	commits, unanswered := 0, 0
	sizes := map[int]uint64{}
	for range 12 * long(t) {
		cmd := child(t, "append", e.path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.AfterFunc(time.Duration(20+rng.IntN(60))*time.Millisecond, func() { cmd.Process.Kill() })
		now, n, other := answered(out)
		cmd.Wait()
		if other != "" {
			t.Fatalf("the child said %q", other)
		}
		commits += n
		for ledger, size := range now {
			sizes[ledger] = size
		}
		unanswered += e.nothingLost(sizes)
		e.open()
		for ledger := range 5 {
			head, err := e.store.Head(t.Context(), storagetest.LedgerNumber(ledger))
			if err != nil {
				t.Fatal(err)
			}
			sizes[ledger] = head.Size
		}
		e.close()
	}
	t.Logf("%d commits answered for, none lost; %d more were stored", commits, unanswered)
	if commits == 0 {
		t.Error("no child lived long enough to commit anything")
	}
}

// The system's own fdatasync fails: strace answers it with EIO. The child must
// notice, and nothing that it answered for may be gone.
func TestSyncFails(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed: the disk's own errors are not tried")
	}
	if exec.Command(strace, "-qq", "-o", os.DevNull, "true").Run() != nil {
		t.Skip("strace may not trace here: the disk's own errors are not tried")
	}
	for when := 1; when <= 8; when++ {
		e := newEvening(t)
		e.close()
		if err := os.Remove(e.path); err != nil {
			t.Fatal(err)
		}
		c := child(t, "append", e.path)
		cmd := exec.CommandContext(t.Context(), strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace=fdatasync",
			"-e", fmt.Sprintf("inject=fdatasync:error=EIO:when=%d", when), os.Args[0])
		cmd.Env = c.Env
		out, err := cmd.Output()
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Fatal(err)
		}
		sizes, n, other := answered(bytes.NewReader(out))
		if !strings.Contains(other, "input/output error") {
			t.Errorf("sync %d: %d appends, and the child said %q", when, n, other)
		}
		if n > 0 && !strings.Contains(other, storage.ErrUnknown.Error()) {
			t.Errorf("sync %d: the child did not say that the outcome is unknown: %q", when, other)
		}
		e.nothingLost(sizes)
	}
}

// childContext is the context of a process that only ends by being ended.
var childContext = context.Background()
