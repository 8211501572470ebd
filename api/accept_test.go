package api

import "testing"

func TestNegotiate(t *testing.T) {
	t.Parallel()
	offers := []string{"application/json", "text/csv", "application/pdf"}
	for accept, want := range map[string]string{
		"*/*":                                    "application/json",
		"text/*":                                 "text/csv",
		"text/csv":                               "text/csv",
		"Text/CSV ; charset=utf-8":               "text/csv",
		"text/csv;q=0.4, application/json;q=0.5": "application/json",
		"application/json;q=0.4, text/csv ; Q=0.5": "text/csv",
		"*/*;q=0.1, application/pdf":               "application/pdf",
		"application/*, application/json;q=0.2":    "application/pdf",
		"*/*, application/json;q=0":                "text/csv",
		"text/html, application/xhtml+xml":         "",
		"application/json;q=0":                     "",
		"application/json;q=2":                     "",
		"application/json;q=x":                     "",
		"application/json;q=NaN":                   "",
		"json":                                     "",
		"":                                         "",
		",;,/":                                     "",
	} {
		if got := negotiate(accept, offers); got != want {
			t.Errorf("%q: %q, want %q", accept, got, want)
		}
	}
}
