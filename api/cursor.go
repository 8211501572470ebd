package api

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"
	"net/url"
	"strings"

	"shoalbook/domain"
)

// A cursor says after which item a page begins: the keys the list is ordered by,
// of the last item of the page before. To clients it is opaque. It grants
// nothing (the rows are read behind the same walls as ever), so it is sealed
// against mistakes, not against forgers: by a checksum, and by a hash of the
// list it was made for, so that it does not silently go on in another one.
//
// Its bytes are a version, 8 bytes of that hash, each key after its length, and
// a CRC-32, in base64url without padding.
const (
	cursorVersion = 1
	cursorHash    = 8
	maxCursor     = 2048 // characters
)

// cursorText is strict so that there is one spelling of each cursor; the line
// breaks that it still skips are refused apart.
var cursorText = base64.RawURLEncoding.Strict()

// listOf names a list by its route and everything that chooses or orders its
// items. The page itself does not: limit may change from page to page.
func listOf(route string, query url.Values) string {
	chosen := make(url.Values, len(query))
	for name, values := range query {
		if name != "after" && name != "limit" {
			chosen[name] = values
		}
	}
	return route + "?" + chosen.Encode()
}

// encodeCursor returns the cursor behind an item of a list (see [listOf]), whose
// keys are short texts such as a date, a name or an id.
func encodeCursor(list string, keys ...string) string {
	hash := sha256.Sum256([]byte(list))
	b := append([]byte{cursorVersion}, hash[:cursorHash]...)
	for _, key := range keys {
		b = binary.AppendUvarint(b, uint64(len(key)))
		b = append(b, key...)
	}
	return cursorText.EncodeToString(binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b)))
}

// decodeCursor returns the keys of a cursor, as many as asked for.
func decodeCursor(text, list string, keys int) ([]string, error) {
	if len(text) > maxCursor || strings.ContainsAny(text, "\r\n") {
		return nil, errCursor
	}
	b, err := cursorText.DecodeString(text)
	if err != nil || len(b) < 1+cursorHash+crc32.Size || b[0] != cursorVersion {
		return nil, errCursor
	}
	sealed, sum := b[:len(b)-crc32.Size], b[len(b)-crc32.Size:]
	if binary.BigEndian.Uint32(sum) != crc32.ChecksumIEEE(sealed) {
		return nil, errCursor
	}
	hash := sha256.Sum256([]byte(list))
	if [cursorHash]byte(sealed[1:]) != [cursorHash]byte(hash[:]) {
		return nil, errOtherList
	}
	out := make([]string, 0, keys)
	for rest := sealed[1+cursorHash:]; len(rest) > 0; {
		length, n := binary.Uvarint(rest)
		if n <= 0 || length > uint64(len(rest)-n) {
			return nil, errCursor
		}
		out = append(out, string(rest[n:n+int(length)]))
		rest = rest[n+int(length):]
	}
	if len(out) != keys {
		return nil, errCursor
	}
	return out, nil
}

var (
	errCursor = &domain.Error{Kind: domain.Invalid, Code: "invalid_cursor", Detail: "the cursor was not made here, or not copied whole",
		Fields: []domain.FieldError{{Pointer: "/query/after", Detail: "must be the next of the page before, unchanged"}}}
	errOtherList = &domain.Error{Kind: domain.Invalid, Code: "invalid_cursor", Detail: "the cursor belongs to a list with other filters; begin that list anew",
		Fields: []domain.FieldError{{Pointer: "/query/after", Detail: "must go with the filters it was made for"}}}
)
