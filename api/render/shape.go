package render

// chart is a block that is drawn.
type chart interface {
	Block
	draw(width float64, t *tongue) *drawing
}

// A drawing is a chart as shapes, in px: how it looks is decided once, for the screen and
// for print.
type drawing struct {
	width, height float64
	title, desc   string // what it says to those who do not see it

}
