package beacon

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"

	"github.com/cloudflare/circl/ecc/bls12381"
)

// suite is the domain of the hash to a point of G1 (RFC 9380), as the scheme
// bls-unchained-g1-rfc9380 names it.
const suite = "BLS_SIG_BLS12381G1_XMD:SHA-256_SSWU_RO_NUL_"

// ErrSignature is wrapped by every error about the signature of a round.
var ErrSignature = errors.New("not the signature of that round")

type publicKey struct{ point bls12381.G2 }

// quicknetKey decodes the public key once: finding that it lies in the right
// group takes a while.
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
	k := &publicKey{}
	if err := k.point.SetBytes(raw); !ok || err != nil || k.point.IsIdentity() {
		return nil, errors.New("beacon: the public key is no point of its group")
	}
	return k, nil
}

// Verify checks the signature of a round and returns the round's randomness,
// the hex SHA-256 of the signature. The signature has one spelling: 96
// lower-case hex digits, a point of the right group that is not the identity,
// its number below the field's prime.
func (c *Chain) Verify(round uint64, signature string) (randomness string, err error) {
	raw, ok := fromHex(signature)
	if !ok || len(raw) != bls12381.G1SizeCompressed || raw[0]&0x80 == 0 {
		return "", fmt.Errorf("%w: 96 lower-case hex digits of a compressed point expected", ErrSignature)
	}
	var point bls12381.G1
	if err := point.SetBytes(raw); err != nil {
		return "", fmt.Errorf("%w: no point of the group: %w", ErrSignature, err)
	}
	if point.IsIdentity() || string(point.BytesCompressed()) != string(raw) {
		return "", fmt.Errorf("%w: not the one spelling of a point", ErrSignature)
	}
	if !c.signs(round, &point) {
		return "", fmt.Errorf("%w: the pairings differ", ErrSignature)
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:]), nil
}

// signs tells whether e(signature, g2) = e(H(round), public key).
func (c *Chain) signs(round uint64, signature *bls12381.G1) bool {
	message := sha256.Sum256(binary.BigEndian.AppendUint64(nil, round))
	var hashed bls12381.G1
	hashed.Hash(message[:], []byte(suite))
	quotient := bls12381.ProdPairFrac(
		[]*bls12381.G1{signature, &hashed},
		[]*bls12381.G2{bls12381.G2Generator(), &c.key.point},
		[]int{1, -1})
	return quotient.IsIdentity()
}

// Cut is the cut of an entry by a round, as dice are drawn with it.
func Cut(round uint64, randomness string) string {
	return fmt.Sprintf("beacon:%d:%s", round, randomness)
}
