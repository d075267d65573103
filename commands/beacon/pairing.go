package beacon

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"

	bls "github.com/consensys/gnark-crypto/ecc/bls12-381"
)

// suite is the domain of the hash to a point of G1 (RFC 9380), as the scheme
// bls-unchained-g1-rfc9380 names it.
const suite = "BLS_SIG_BLS12381G1_XMD:SHA-256_SSWU_RO_NUL_"

// lines are what a pairing needs to know of its point of G2. Both points here
// never change, so their lines are worked out once.
type lines = [2][len(bls.LoopCounter) - 1]bls.LineEvaluationAff

// publicKey is a chain's key, ready for pairings.
type publicKey struct{ generator, public lines }

var errKey = errors.New("beacon: the public key is no compressed point of its group")

// newPublicKey decodes 96 bytes: a point of the right group, not the identity.
func newPublicKey(raw []byte) (*publicKey, error) {
	var p bls.G2Affine
	if n, err := p.SetBytes(raw); err != nil || n != len(raw) || n != bls.SizeOfG2AffineCompressed || p.IsInfinity() {
		return nil, errKey
	}
	_, _, _, generator := bls.Generators()
	return &publicKey{generator: bls.PrecomputeLines(generator), public: bls.PrecomputeLines(p)}, nil
}

// hashed is the point of G1 that the signature of a round is of.
func hashed(round uint64) bls.G1Affine {
	message := sha256.Sum256(binary.BigEndian.AppendUint64(nil, round))
	p, err := bls.HashToG1(message[:], []byte(suite))
	if err != nil {
		panic(err) // only for a domain of more than 255 bytes
	}
	return p
}

// signs tells whether e(signature, generator) = e(hash, public key); both
// points lie in the right group.
func (k *publicKey) signs(hash, signature *bls.G1Affine) bool {
	var minus bls.G1Affine
	minus.Neg(hash)
	lines := []lines{k.generator, k.public} // copies: the pairing writes on them
	ok, err := bls.PairingCheckFixedQ([]bls.G1Affine{*signature, minus}, lines)
	return err == nil && ok
}
