package api

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/sha256"
	"net/http"

	"shoalbook/domain"
)

// A keeping says how the body of an answer is kept, so that it can be given again.
type keeping struct{ seal, open func([]byte) ([]byte, error) }

// inClear keeps a body as it is.
var inClear = keeping{same, same}

func same(b []byte) ([]byte, error) { return b, nil }

// sealed keeps a body so that nobody who has the database can read it: under a key
// made of the token that asks (of which only a hash is kept) and the Idempotency-Key,
// which the client has to send again anyway to have the answer again.
func sealed(h http.Header, key string) (keeping, error) {
	token, err := bearer(h)
	if err != nil {
		return keeping{}, err
	}
	aead, err := sealWith(token, key)
	if err != nil {
		return keeping{}, err
	}
	return keeping{
		seal: func(b []byte) ([]byte, error) { return aead.Seal(nil, nil, b, nil), nil },
		open: func(b []byte) ([]byte, error) { return aead.Open(nil, nil, b, nil) },
	}, nil
}

// sealWith returns AES-256-GCM, which begins what it seals with a random nonce, under
// a key by HKDF with SHA-256 (RFC 5869).
func sealWith(token domain.Token, key string) (cipher.AEAD, error) {
	secret, err := hkdf.Key(sha256.New, []byte(token.Text()), []byte(key), "shoalbook: an answer under an Idempotency-Key", 32)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(secret)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCMWithRandomNonce(block)
}
