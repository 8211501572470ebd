package domain

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// Hash is a SHA-256 digest, written in hexadecimal digits.
type Hash [sha256.Size]byte

// String returns its 64 digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText writes it as [Hash.String].
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (h *Hash) UnmarshalText(text []byte) error {
	if len(text) != hex.EncodedLen(len(h)) {
		return fmt.Errorf("a hash has %d digits, not %d", hex.EncodedLen(len(h)), len(text))
	}
	_, err := hex.Decode(h[:], text)
	return err
}

// LeafHash is the hash of a leaf of a Merkle tree (RFC 6962, section 2.1).
func LeafHash(record []byte) Hash {
	return sha256.Sum256(append([]byte{0}, record...))
}

func nodeHash(left, right Hash) Hash {
	var node [1 + 2*sha256.Size]byte
	node[0] = 1
	copy(node[1:], left[:])
	copy(node[1+sha256.Size:], right[:])
	return sha256.Sum256(node[:])
}

// Merkle is a Merkle tree that grows leaf by leaf (RFC 6962, section 2.1). The zero
// value has no leaf.
type Merkle struct {
	whole []Hash // of the full subtrees, the largest first: as many as n has ones
	n     int64
}

// Add appends a leaf by its hash.
func (m *Merkle) Add(leaf Hash) {
	m.n++
	for n := m.n; n%2 == 0; n /= 2 {
		last := len(m.whole) - 1
		leaf = nodeHash(m.whole[last], leaf)
		m.whole = m.whole[:last]
	}
	m.whole = append(m.whole, leaf)
}

// Leaves returns how many leaves there are.
func (m *Merkle) Leaves() int64 { return m.n }

// Root returns the hash of all leaves, in their order.
func (m *Merkle) Root() Hash {
	if m.n == 0 {
		return sha256.Sum256(nil)
	}
	root := m.whole[len(m.whole)-1]
	for i := len(m.whole) - 2; i >= 0; i-- {
		root = nodeHash(m.whole[i], root)
	}
	return root
}
