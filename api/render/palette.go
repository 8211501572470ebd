package render

// Colours, as six hexadecimal digits. Those of data are from the palette of Okabe and
// Ito (Color Universal Design, 2008; from memory), which people with any of the usual
// colour blindnesses tell apart; of it those that stand out from white paper. They
// never say anything alone: markers, dashes and hatching differ as well.
const (
	ink       = "1B2530" // text
	quiet     = "4A5765" // text that says less
	rule      = "C9D1D9" // lines between things
	tint      = "EAF1F6" // heads of tables, bands
	paper     = "FFFFFF"
	navy      = "0B3C5D" // the band at the head of a page
	blue      = "0072B2"
	vermilion = "D55E00"
	green     = "007A5A" // bluish green, darker than theirs for thin lines on white
	palest    = "DCEAF4" // of blue: a wide band
	pale      = "A9CFE6" // of blue: a narrow band
	warning   = "FFF4E5" // behind a caution
	hint      = "F4F7F9" // behind a note
)
