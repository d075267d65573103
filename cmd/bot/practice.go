package main

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	chacha "math/rand/v2"
	"sync"
	"time"
)

// mostPractice is the most bytes that --practice takes.
const mostPractice = 64

// practiceSeed reads the value of --practice; "" is no practice.
func practiceSeed(text string, given bool) ([]byte, error) {
	if !given {
		return nil, nil
	}
	seed, err := hex.DecodeString(text)
	if err != nil || len(seed) == 0 || len(seed) > mostPractice {
		return nil, fmt.Errorf("%w: --practice %q: 1 to %d bytes in hex expected, as in --practice 00ff", errUsage, text, mostPractice)
	}
	return seed, nil
}

// entropyFor is the system's generator, or for practice one that gives the same
// bytes again for the same seed and purpose.
func entropyFor(seed []byte, purpose string) io.Reader {
	if seed == nil {
		return rand.Reader
	}
	return chacha.NewChaCha8(sha256.Sum256(append([]byte("drumhead/practice/"+purpose+"/"), seed...)))
}

// practiceStart is when time begins in a practice directory without entries.
func practiceStart() time.Time { return time.Date(2026, 10, 10, 17, 0, 0, 0, time.UTC) }

// clock is the real time, or for practice a time that only goes on when told.
type clock struct {
	mu   sync.Mutex
	real bool
	now  time.Time
}

// Now is the time, UTC.
func (c *clock) Now() time.Time {
	if c.real {
		return time.Now().UTC()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// reach lets a practice clock go on to a time; it never goes back.
func (c *clock) reach(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.now) {
		c.now = t.UTC()
	}
}
