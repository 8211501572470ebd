package render

import (
	"math"
	"strings"
	"testing"
)

// luminance of a colour (WCAG 2.1, relative luminance; from memory of the standard).
func luminance(colour string) float64 {
	r, g, b := rgb(strings.ToUpper(colour))
	linear := func(v int) float64 {
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
}

// contrast of two colours (WCAG 2.1, contrast ratio; from memory of the standard).
func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func TestColoursStandOut(t *testing.T) {
	t.Parallel()
	if got := contrast("000000", "FFFFFF"); math.Abs(got-21) > 1e-9 {
		t.Fatalf("black on white has a contrast of %g", got)
	}
	for _, ground := range []string{paper, tint, hint, warning, palest} {
		for _, text := range []string{ink, quiet, navy} {
			if got := contrast(text, ground); got < 4.5 { // text, level AA
				t.Errorf("text of %s on %s has a contrast of %.2f", text, ground, got)
			}
		}
	}
	for _, text := range []string{blue, "00598C"} { // links, in print and on the page
		if got := contrast(text, paper); got < 4.5 {
			t.Errorf("links of %s have a contrast of %.2f", text, got)
		}
	}
	for _, mark := range []string{blue, vermilion, green, ink} { // graphical objects
		if got := contrast(mark, paper); got < 3 {
			t.Errorf("marks of %s have a contrast of %.2f", mark, got)
		}
	}
	// In black and white the bands are told apart, and so is what lies on them.
	if contrast(paper, palest) < 1.2 || contrast(palest, pale) < 1.2 || contrast(pale, blue) < 3 {
		t.Errorf("bands have a contrast of %.2f and %.2f, a line on them %.2f", contrast(paper, palest), contrast(palest, pale), contrast(pale, blue))
	}
	for _, colour := range []string{"1b2530", "4a5765", "0b3c5d", "eaf1f6", "f4f7f9", "fff4e5", "d55e00", "c9d1d9"} {
		if !strings.Contains(css, "#"+colour) {
			t.Errorf("the page does not use %s", colour)
		}
	}
}
