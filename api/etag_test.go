package api

import (
	"net/http"
	"testing"

	"shoalbook/domain"
)

func TestIfMatch(t *testing.T) {
	t.Parallel()
	const ok, stale, missing, wrong = domain.Internal, domain.Precondition, domain.PreconditionRequired, domain.Invalid
	for _, c := range []struct {
		header []string
		want   domain.Kind // of the refusal of a change to version 3
	}{
		{[]string{`"3"`}, ok},
		{[]string{` "3" `}, ok},
		{[]string{`*`}, ok},
		{[]string{`"3-gzip"`}, ok}, // what a compressed answer carried
		{[]string{`"2", "3"`}, ok},
		{[]string{`"2","3"`}, ok},
		{[]string{`, "2" ,, "3",`}, ok},
		{[]string{`"2"`, `"3"`}, ok},
		{[]string{`"a, b", "3"`}, ok},
		{[]string{`W/"2", "3"`}, ok},
		{[]string{`"2"`}, stale},
		{[]string{`"33"`}, stale},
		{[]string{`"03"`}, stale},
		{[]string{`""`}, stale},
		{[]string{`W/"3"`}, stale}, // strong comparison
		{[]string{`"3-zstd"`}, stale},
		{[]string{`"-gzip"`}, stale},
		{nil, missing},
		{[]string{``}, wrong},
		{[]string{`3`}, wrong},
		{[]string{`"3`}, wrong},
		{[]string{`3"`}, wrong},
		{[]string{`"3" "2"`}, wrong},
		{[]string{`"3"x`}, wrong},
		{[]string{`w/"3"`}, wrong},
		{[]string{`*, "3"`}, wrong},
		{[]string{`W/`}, wrong},
		{[]string{`,`}, wrong},
	} {
		got := ok
		m, err := parseIfMatch(http.Header{"If-Match": c.header})
		if c.header == nil {
			m, err = parseIfMatch(http.Header{})
		}
		if err == nil {
			err = m.check(versionTag(3))
		}
		if err != nil {
			got = err.(*domain.Error).Kind
		}
		if got != c.want {
			t.Errorf("%q: kind %d, want %d (%v)", c.header, got, c.want, err)
		}
	}
}

func TestIfNoneMatch(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]bool{
		`"3"`: true, `W/"3"`: true, `*`: true, `"2", W/"3-gzip"`: true, `"3-gzip"`: true,
		`"2"`: false, ``: false, `3`: false, `"3`: false,
	} {
		if got := notModified(http.Header{"If-None-Match": {header}}, versionTag(3)); got != want {
			t.Errorf("%s: %v", header, got)
		}
	}
	if notModified(http.Header{}, versionTag(3)) {
		t.Error("without a condition nothing is sent")
	}
}

func TestContentTagFollowsTheContent(t *testing.T) {
	t.Parallel()
	a, b := contentTag([]byte("a")), contentTag([]byte("b"))
	if a == b || a != contentTag([]byte("a")) {
		t.Errorf("tags %s and %s", a, b)
	}
	if tags, ok := parseTags(a); !ok || len(tags) != 1 || tags[0] != a {
		t.Errorf("%s is not an entity tag", a)
	}
}
