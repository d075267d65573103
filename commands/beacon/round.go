package beacon

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"

	bls "github.com/consensys/gnark-crypto/ecc/bls12-381"
)

// ErrSignature is wrapped by every error about the signature of a round.
var ErrSignature = errors.New("not the signature of that round")

// quicknetKey decodes the public key once: it takes a while to find that it
// lies in the right group.
var quicknetKey = sync.OnceValue(func() *publicKey {
	k, err := parseKey(quicknetPublic)
	if err != nil {
		panic("beacon: quicknet: " + err.Error())
	}
	return k
})

// parseKey reads a public key: a point of G2, compressed, in hex.
func parseKey(public string) (*publicKey, error) {
	raw, ok := fromHex(public)
	if !ok {
		return nil, errKey
	}
	return newPublicKey(raw)
}

// Verify checks the signature of a round and returns the round's randomness,
// the hex SHA-256 of the signature. The signature has one spelling: 96
// lower-case hex digits, a point of the right group that is not the identity,
// its number below the field's prime.
func (c *Chain) Verify(round uint64, signature string) (randomness string, err error) {
	raw, point, err := decode(signature)
	if err != nil {
		return "", err
	}
	hash := hashed(round)
	if !c.key.signs(&hash, &point) {
		return "", fmt.Errorf("%w: the pairings differ", ErrSignature)
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:]), nil
}

// decode reads the one spelling of a signature.
func decode(signature string) (raw []byte, point bls.G1Affine, err error) {
	raw, ok := fromHex(signature)
	if !ok || len(raw) != bls.SizeOfG1AffineCompressed || raw[0]&0x80 == 0 {
		return nil, point, fmt.Errorf("%w: 96 lower-case hex digits of a compressed point expected", ErrSignature)
	}
	if _, err := point.SetBytes(raw); err != nil {
		return nil, point, fmt.Errorf("%w: no point of the group: %w", ErrSignature, err)
	}
	if again := point.Bytes(); point.IsInfinity() || string(again[:]) != string(raw) {
		return nil, point, fmt.Errorf("%w: not the one spelling of a point", ErrSignature)
	}
	return raw, point, nil
}

// Cut is the cut of an entry by a round, as dice are drawn with it.
func Cut(round uint64, randomness string) string {
	return fmt.Sprintf("beacon:%d:%s", round, randomness)
}
