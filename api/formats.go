package api

import (
	"encoding/hex"
	"errors"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/domain"
)

// stringFormats are the formats of the contract, judged by what will read the
// values afterwards, so that nothing passes here and fails there.
var stringFormats = map[string]openapi3.StringFormatValidator{
	"uuid": openapi3.NewCallbackValidator(checkUUID),
	"date": openapi3.NewCallbackValidator(func(s string) error {
		_, err := domain.ParseDate(s)
		return err
	}),
	"date-time": openapi3.NewCallbackValidator(func(s string) error {
		_, err := time.Parse(time.RFC3339, s)
		return err
	}),
}

var errUUID = errors.New("not a UUID")

// checkUUID accepts a UUID of any version of RFC 9562 (1 to 8, variant 10), but
// neither the nil nor the max UUID, which identify nothing.
func checkUUID(s string) error {
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return errUUID
	}
	var b [16]byte
	var digits [32]byte
	copy(digits[:], s[:8])
	copy(digits[8:], s[9:13])
	copy(digits[12:], s[14:18])
	copy(digits[16:], s[19:23])
	copy(digits[20:], s[24:])
	if _, err := hex.Decode(b[:], digits[:]); err != nil {
		return errUUID
	}
	if version := b[6] >> 4; version < 1 || version > 8 || b[8]>>6 != 0b10 {
		return errUUID
	}
	return nil
}
