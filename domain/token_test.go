package domain

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strings"
	"testing"
)

var tokenCoop = CoopID{0x01, 0x90, 0xb2, 0xa4, 0x5f, 0x3e, 0x7c, 0x1a, 0x9d, 0x2b, 0x3f, 0x4e, 0x5a, 0x6b, 0x7c, 0x8d}

func TestTokenIsReadBackAsMade(t *testing.T) {
	t.Parallel()
	for _, secret := range []string{
		strings.Repeat("\x00", tokenSecret),
		strings.Repeat("\xff", tokenSecret),
		"twenty random bytes.",
	} {
		made, err := NewToken(tokenCoop, strings.NewReader(secret))
		if err != nil {
			t.Fatal(err)
		}
		read, err := ParseToken(made.Text())
		if err != nil {
			t.Fatalf("%s: %v", made.Text(), err)
		}
		if read != made || read.Coop != tokenCoop {
			t.Errorf("read %v of %v, made %v of %v", read.Text(), read.Coop, made.Text(), tokenCoop)
		}
		if want := sha256.Sum256([]byte(made.Text())); read.Hash() != want {
			t.Error("the hash is not the SHA-256 of the text")
		}
	}
}

// The digits are checked against big integers, which share no code with ours.
func TestTokenDigitsAreBase62(t *testing.T) {
	t.Parallel()
	var raw [8 * tokenWords]byte
	for i := range raw {
		raw[i] = byte(255 - 3*i)
	}
	digits := encodeBase62(raw)
	want := new(big.Int).SetBytes(raw[:])
	got := new(big.Int)
	for _, d := range digits {
		got.Mul(got, big.NewInt(62)).Add(got, big.NewInt(int64(strings.IndexRune(base62, d))))
	}
	if got.Cmp(want) != 0 || len(digits) != tokenDigits {
		t.Errorf("%s reads as %x, want %x", digits, got, want)
	}
}

func TestTokenNotOfThisServiceIsRefused(t *testing.T) {
	t.Parallel()
	made, err := NewToken(tokenCoop, strings.NewReader("twenty random bytes."))
	if err != nil {
		t.Fatal(err)
	}
	good := made.Text()
	nobody, err := NewToken(CoopID{}, strings.NewReader("twenty random bytes."))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"empty":              "",
		"prefix only":        tokenPrefix,
		"other prefix":       "trout_" + good[len(tokenPrefix):],
		"short":              good[:len(good)-1],
		"long":               good + "0",
		"not a digit":        good[:len(good)-1] + "-",
		"over 320 bits":      tokenPrefix + strings.Repeat("z", tokenDigits),
		"space before":       " " + good,
		"line break after":   good + "\n",
		"of no co-operative": nobody.Text(),
	} {
		if _, err := ParseToken(text); !errors.Is(err, errToken) {
			t.Errorf("%s: %q is accepted", name, text)
		}
	}
}

// One wrong digit or two neighbours swapped: each slips past the checksum with a
// chance of one in 2^32, so none of these few thousand does.
func TestTokenMistypedIsRefused(t *testing.T) {
	t.Parallel()
	made, err := NewToken(tokenCoop, strings.NewReader("twenty random bytes."))
	if err != nil {
		t.Fatal(err)
	}
	good := made.Text()
	for i := len(tokenPrefix); i < len(good); i++ {
		for _, d := range base62 {
			wrong := good[:i] + string(d) + good[i+1:]
			if _, err := ParseToken(wrong); err == nil && wrong != good {
				t.Errorf("%s is accepted for %s", wrong, good)
			}
		}
		if i+1 < len(good) && good[i] != good[i+1] {
			swapped := good[:i] + string(good[i+1]) + string(good[i]) + good[i+2:]
			if _, err := ParseToken(swapped); err == nil {
				t.Errorf("%s is accepted for %s", swapped, good)
			}
		}
	}
}

func TestTokenKeepsItsSecretOutOfTexts(t *testing.T) {
	t.Parallel()
	made, err := NewToken(tokenCoop, strings.NewReader("twenty random bytes."))
	if err != nil {
		t.Fatal(err)
	}
	secret := made.Text()[len(tokenPrefix):]
	for _, format := range []string{"%s", "%v", "%+v", "%#v"} {
		if text := fmt.Sprintf(format, made); strings.Contains(text, secret) {
			t.Errorf("%s prints the secret: %s", format, text)
		}
	}
}

func TestTokenNeedsAllItsRandomness(t *testing.T) {
	t.Parallel()
	_, err := NewToken(tokenCoop, bytes.NewReader(make([]byte, tokenSecret-1)))
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("made from too few random bytes: %v", err)
	}
}

func FuzzParseToken(f *testing.F) {
	made, err := NewToken(tokenCoop, strings.NewReader("twenty random bytes."))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(made.Text())
	f.Add(tokenPrefix + strings.Repeat("0", tokenDigits))
	f.Add(tokenPrefix + strings.Repeat("z", tokenDigits))
	f.Fuzz(func(t *testing.T, text string) {
		token, err := ParseToken(text)
		if err != nil {
			return
		}
		raw, _ := decodeBase62(text[len(tokenPrefix):])
		again, err := NewToken(token.Coop, bytes.NewReader(raw[16:16+tokenSecret]))
		if err != nil || again.Text() != text {
			t.Errorf("%q is another spelling of %q (%v)", text, again.Text(), err)
		}
	})
}

func BenchmarkParseToken(b *testing.B) {
	made, err := NewToken(tokenCoop, strings.NewReader("twenty random bytes."))
	if err != nil {
		b.Fatal(err)
	}
	text := made.Text()
	for b.Loop() {
		token, err := ParseToken(text)
		if err != nil {
			b.Fatal(err)
		}
		token.Hash()
	}
}
