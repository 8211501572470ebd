package render

import "io"

// Widths for which charts are drawn, px: of a page on a screen, and on a phone.
const (
	wideChart   = 720
	narrowChart = 340
)

func (d *drawing) svg(w io.Writer, id, class string) error { return nil }
