package domain

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math/bits"
	"strings"
)

// Token is the secret that speaks for a co-operative. Its text names the
// co-operative in clear, so that a token is looked up behind the same wall as
// everything else, and ends in a checksum, so that a mistyped or made-up one is
// turned away without asking the database.
type Token struct {
	Coop CoopID
	text string
}

const (
	tokenPrefix = "shoal_"
	tokenSecret = 20 // random bytes: 160 bits
	tokenWords  = (16 + tokenSecret + crc32.Size) / 8
	tokenDigits = 54 // the fewest base62 digits that hold 320 bits

	base62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
)

var (
	errToken = errors.New("not a token of this service")

	base62Values = func() (values [256]uint8) {
		for i := range values {
			values[i] = 0xff
		}
		for i := range base62 {
			values[base62[i]] = uint8(i)
		}
		return values
	}()
)

// NewToken makes a token of a co-operative from 20 bytes of random.
func NewToken(coop CoopID, random io.Reader) (Token, error) {
	var raw [8 * tokenWords]byte
	copy(raw[:], coop[:])
	if _, err := io.ReadFull(random, raw[len(coop):len(coop)+tokenSecret]); err != nil {
		return Token{}, fmt.Errorf("make a token: %w", err)
	}
	sealed := raw[:len(coop)+tokenSecret]
	binary.BigEndian.PutUint32(raw[len(sealed):], crc32.ChecksumIEEE(sealed))
	return Token{Coop: coop, text: tokenPrefix + encodeBase62(raw)}, nil
}

// ParseToken reads the text of a token. It accepts one spelling only, and says
// nothing about whether the token was ever issued or still holds.
func ParseToken(text string) (Token, error) {
	digits, ok := strings.CutPrefix(text, tokenPrefix)
	if !ok {
		return Token{}, errToken
	}
	raw, ok := decodeBase62(digits)
	if !ok {
		return Token{}, errToken
	}
	t := Token{Coop: CoopID(raw[:16]), text: text}
	sealed := raw[:len(raw)-crc32.Size]
	if binary.BigEndian.Uint32(raw[len(sealed):]) != crc32.ChecksumIEEE(sealed) || t.Coop.IsZero() {
		return Token{}, errToken
	}
	return t, nil
}

// Text returns the secret itself, to be shown once to the one it is made for.
func (t Token) Text() string { return t.text }

// Hash returns the SHA-256 of the text: what is stored, and looked up.
func (t Token) Hash() [32]byte { return sha256.Sum256([]byte(t.text)) }

// String keeps the secret out of logs and error texts.
func (t Token) String() string { return tokenPrefix + "…" }

// GoString keeps the secret out of logs and error texts.
func (t Token) GoString() string { return t.String() }

func encodeBase62(raw [8 * tokenWords]byte) string {
	words := toWords(raw)
	var digits [tokenDigits]byte
	for i := tokenDigits - 1; i >= 0; i-- {
		var rest uint64
		for w := range words {
			words[w], rest = bits.Div64(rest, words[w], 62)
		}
		digits[i] = base62[rest]
	}
	return string(digits[:])
}

func decodeBase62(digits string) (raw [8 * tokenWords]byte, ok bool) {
	if len(digits) != tokenDigits {
		return raw, false
	}
	var words [tokenWords]uint64
	for i := range digits {
		carry := uint64(base62Values[digits[i]])
		if carry > 61 {
			return raw, false
		}
		for w := tokenWords - 1; w >= 0; w-- {
			high, low := bits.Mul64(words[w], 62)
			sum, over := bits.Add64(low, carry, 0)
			words[w], carry = sum, high+over
		}
		if carry != 0 {
			return raw, false // more than 320 bits
		}
	}
	for w, word := range words {
		binary.BigEndian.PutUint64(raw[8*w:], word)
	}
	return raw, true
}

func toWords(raw [8 * tokenWords]byte) (words [tokenWords]uint64) {
	for w := range words {
		words[w] = binary.BigEndian.Uint64(raw[8*w:])
	}
	return words
}

// Digits returns the secret without its prefix, for an address: it opens what it was made
// for, and is no token.
func (t Token) Digits() string { return strings.TrimPrefix(t.text, tokenPrefix) }

// TokenOfDigits reads what [Token.Digits] returns.
func TokenOfDigits(digits string) (Token, error) { return ParseToken(tokenPrefix + digits) }
