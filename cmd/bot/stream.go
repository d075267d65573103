package main

import (
	"bufio"
	"crypto/sha256"
	"errors"
	"fmt"
	"syscall"

	"drumhead/engine/dice"
)

// stream writes the bytes that dice are made of, raw, for programs that test how
// random bytes are: dice of 256 sides, draw by draw and seal by seal, as a ledger
// would spend them. The seals are made from a word, so that a finding can be found
// again, and guard nothing.
func stream(c *call) error {
	n := c.flags.Int64("bytes", 1<<20, "how many bytes")
	seed := c.flags.String("seed", "osier", "any word; another one gives other bytes")
	if _, err := c.parse(0); err != nil {
		return err
	}
	if *n < 1 {
		return fmt.Errorf("%w: --bytes %d; expected 1 or more, as in bot stream --bytes 1000000", errUsage, *n)
	}
	out := bufio.NewWriterSize(c.out, 1<<16)
	for left, seal := *n, 0; left > 0; seal++ {
		chain, err := dice.NewChain(sha256.Sum256(fmt.Appendf(nil, "%s/%d", *seed, seal)), sealLength)
		if err != nil {
			return err
		}
		for draw := 1; draw <= sealLength && left > 0; draw++ {
			s := dice.NewStream("practiceaaaaaaaaaaaaaaaaaa", uint64(draw), "none", chain.Key(draw))
			for ; s.Left() > 0 && left > 0; left-- {
				if err := out.WriteByte(byte(s.Draw(256) - 1)); err != nil {
					return hungUp(err)
				}
			}
		}
	}
	return hungUp(out.Flush())
}

// sealLength is how many keys a seal of the stream has, as in a ledger.
const sealLength = 4096

// hungUp makes nothing of a reader that has read enough and gone.
func hungUp(err error) error {
	if errors.Is(err, syscall.EPIPE) {
		return nil
	}
	return err
}
