package api

import (
	"encoding/base64"
	"errors"
	"net/url"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

const entryList = "/v1/entries?kind=death&site_id=019ade3a-7c00-7000-8000-000000000001"

func TestCursorComesBack(t *testing.T) {
	t.Parallel()
	for _, keys := range [][]string{
		{"2026-05-31", "019ade3a-7c00-7000-8000-0000000000a9"},
		{"Chisamba school", "019ade3a-7c00-7000-8000-000000000001"},
		{"école n° 3 / “Étang”", ""},
		{"one"},
		{},
	} {
		text := encodeCursor(entryList, keys...)
		if text != url.QueryEscape(text) {
			t.Errorf("%s is not safe in a URL", text)
		}
		if got, err := decodeCursor(text, entryList, len(keys)); err != nil || !slices.Equal(got, keys) {
			t.Errorf("%q comes back as %q (%v)", keys, got, err)
		}
	}
}

// The pattern and length that the contract gives a cursor hold for the keys there
// are: a date or a name of up to 120 characters, and an id.
func TestCursorFitsTheContract(t *testing.T) {
	t.Parallel()
	schema := contract(t).Components.Parameters["After"].Value.Schema.Value
	for _, name := range []string{"2026-05-31", strings.Repeat("é", 120)} {
		if err := schema.VisitJSON(encodeCursor(entryList, name, "019ade3a-7c00-7000-8000-000000000001")); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCursorThatIsNotOursIsRefused(t *testing.T) {
	t.Parallel()
	good := encodeCursor(entryList, "2026-05-31", "019ade3a-7c00-7000-8000-0000000000a9")
	refused := func(name, text, list string, keys int) {
		t.Helper()
		_, err := decodeCursor(text, list, keys)
		refusal, ok := errors.AsType[*domain.Error](err)
		if !ok || refusal.Kind != domain.Invalid || refusal.Code != "invalid_cursor" {
			t.Errorf("%s: %q is answered with %v", name, text, err)
		}
	}
	refused("empty", "", entryList, 2)
	refused("not base64", "!"+good[1:], entryList, 2)
	refused("padded", good+"==", entryList, 2)
	refused("line break", good[:5]+"\n"+good[5:], entryList, 2)
	refused("cut", good[:len(good)-1], entryList, 2)
	refused("grown", good+"A", entryList, 2)
	refused("other filter", good, "/v1/entries?kind=sale", 2)
	refused("other list", good, strings.Replace(entryList, "entries", "batches", 1), 2)
	refused("fewer keys", good, entryList, 1)
	refused("more keys", good, entryList, 3)
	refused("long", strings.Repeat("A", 1_000_000), entryList, 2)
	refused("later version", encodeWith(t, good, func(b []byte) { b[0]++ }), entryList, 2)
	for i := range good {
		for _, c := range "Az09-_" {
			if changed := good[:i] + string(c) + good[i+1:]; changed != good {
				refused("changed", changed, entryList, 2)
			}
		}
	}
}

func encodeWith(t *testing.T, cursor string, change func([]byte)) string {
	t.Helper()
	b, err := base64.RawURLEncoding.DecodeString(cursor)
	if err != nil {
		t.Fatal(err)
	}
	change(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

func TestListIsNamedByWhatChoosesItsItems(t *testing.T) {
	t.Parallel()
	list := func(query string) string {
		q, err := url.ParseQuery(query)
		if err != nil {
			t.Fatal(err)
		}
		return listOf("/v1/entries", q)
	}
	base := list("kind=death&kind=sale&from=2026-01-01")
	for _, same := range []string{"from=2026-01-01&kind=death&kind=sale", "from=2026-01-01&kind=death&kind=sale&limit=7&after=x"} {
		if got := list(same); got != base {
			t.Errorf("%s is another list: %s", same, got)
		}
	}
	for _, other := range []string{"", "kind=death&from=2026-01-01", "kind=death&kind=sale&from=2026-01-02", "kind=death&kind=sale&to=2026-01-01"} {
		if got := list(other); got == base {
			t.Errorf("%s is the same list", other)
		}
	}
}

func FuzzDecodeCursor(f *testing.F) {
	f.Add(encodeCursor(entryList, "2026-05-31", "019ade3a-7c00-7000-8000-0000000000a9"))
	f.Add(encodeCursor(entryList))
	f.Add(encodeCursor("other", "a", "b"))
	f.Add("AQ")
	f.Fuzz(func(t *testing.T, text string) {
		keys, err := decodeCursor(text, entryList, 2)
		if err != nil {
			if _, ok := errors.AsType[*domain.Error](err); !ok {
				t.Errorf("%q: %v is not for a client", text, err)
			}
			return
		}
		if again := encodeCursor(entryList, keys...); again != text {
			t.Errorf("%q is another spelling of %q", text, again)
		}
	})
}
