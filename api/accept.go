package api

import (
	"net/http"
	"strconv"
	"strings"
)

// acceptable reports whether a client that sent these headers can take one of
// the media types offered. No Accept, or none offered, is all the same.
func acceptable(h http.Header, offers []string) bool {
	values := h["Accept"]
	if len(values) == 0 || len(offers) == 0 {
		return true
	}
	accept := strings.Join(values, ",")
	return accept == "*/*" || accept == offers[0] || negotiate(accept, offers) != ""
}

// negotiate returns the offered media type a client prefers, or "" if it accepts
// none (RFC 9110, section 12.5.1). Of equals the first offered wins.
func negotiate(accept string, offers []string) string {
	best, bestQuality := "", 0.0
	for _, offer := range offers {
		if q := quality(accept, offer); q > bestQuality {
			best, bestQuality = offer, q
		}
	}
	return best
}

// quality returns the weight of the most specific range that covers a media
// type. What cannot be read in the header counts for nothing.
func quality(accept, offer string) float64 {
	kind, _, _ := strings.Cut(offer, "/")
	found, specific := 0.0, 0
	for part := range strings.SplitSeq(accept, ",") {
		media, params, _ := strings.Cut(part, ";")
		how := 0
		switch media = strings.ToLower(strings.TrimSpace(media)); media {
		case offer:
			how = 3
		case kind + "/*":
			how = 2
		case "*/*":
			how = 1
		}
		if how > specific {
			found, specific = weight(params), how
		}
	}
	return found
}

// weight reads the q of a range, 1 if there is none.
func weight(params string) float64 {
	for param := range strings.SplitSeq(params, ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(param), "=")
		if !strings.EqualFold(name, "q") {
			continue
		}
		q, err := strconv.ParseFloat(value, 64)
		if err != nil || !(q >= 0 && q <= 1) {
			return 0
		}
		return q
	}
	return 1
}
