package render

import (
	_ "embed"
	"encoding/binary"
	"iter"
	"strings"
	"sync"
	"unicode"
)

// The typeface is Inter by The Inter Project Authors, under the SIL Open Font License,
// see fonts/OFL.txt.
var (
	//go:embed fonts/Inter-Regular.ttf
	regularTTF []byte
	//go:embed fonts/Inter-SemiBold.ttf
	boldTTF []byte

	regular = sync.OnceValue(func() *face { return parseFace(regularTTF) })
	bold    = sync.OnceValue(func() *face { return parseFace(boldTTF) })
)

// missing is shown for a letter that the typeface does not have.
const missing = '□'

// A face knows which letters a font has and how wide they are, in thousandths of their
// size.
type face struct {
	glyphs map[rune]glyph
}

type glyph struct {
	advance    float64
	from, upTo float64 // of its ink
}

// parseFace reads the parts of a TrueType font that are needed to set text: cmap (its
// format 4, the letters up to U+FFFF), hmtx, and the bounds of each glyph. It trusts
// the font, which is a part of the program.
func parseFace(ttf []byte) *face {
	u16 := func(b []byte, at int) int { return int(binary.BigEndian.Uint16(b[at:])) }
	i16 := func(b []byte, at int) float64 { return float64(int16(binary.BigEndian.Uint16(b[at:]))) }
	u32 := func(b []byte, at int) int { return int(binary.BigEndian.Uint32(b[at:])) }
	tables := map[string][]byte{}
	for i := range u16(ttf, 4) {
		entry := ttf[12+16*i:]
		tables[string(entry[:4])] = ttf[u32(entry, 8):][:u32(entry, 12)]
	}
	scale := 1000 / float64(u16(tables["head"], 18))
	long := u16(tables["head"], 50) == 1
	measured := u16(tables["hhea"], 34)
	of := func(id int) glyph {
		g := glyph{advance: float64(u16(tables["hmtx"], 4*min(id, measured-1))) * scale}
		var from, to int
		if long {
			from, to = u32(tables["loca"], 4*id), u32(tables["loca"], 4*id+4)
		} else {
			from, to = 2*u16(tables["loca"], 2*id), 2*u16(tables["loca"], 2*id+2)
		}
		if to > from {
			g.from, g.upTo = i16(tables["glyf"], from+2)*scale, i16(tables["glyf"], from+6)*scale
		}
		return g
	}
	f := &face{glyphs: make(map[rune]glyph, 2500)}
	cmap := tables["cmap"]
	for i := range u16(cmap, 2) {
		sub := cmap[u32(cmap, 4+8*i+4):]
		if u16(sub, 0) != 4 {
			continue
		}
		segments := u16(sub, 6)
		ends, starts := sub[14:], sub[16+segments:]
		deltas, offsets := starts[segments:], starts[2*segments:]
		for s := 0; s < segments; s += 2 {
			for c := u16(starts, s); c <= u16(ends, s) && c != 0xffff; c++ {
				id := c
				if off := u16(offsets, s); off != 0 {
					id = u16(offsets, s+off+2*(c-u16(starts, s)))
				}
				if id != 0 || u16(offsets, s) == 0 {
					id = (id + u16(deltas, s)) & 0xffff
				}
				if id != 0 {
					f.glyphs[rune(c)] = of(id)
				}
			}
		}
		break
	}
	return f
}

// width returns how wide a text is at a size, in the unit of the size. Marks over and
// below letters take no room.
func (f *face) width(s string, size float64) float64 {
	w := 0.
	for _, r := range s {
		if !unicode.Is(unicode.Mn, r) {
			w += f.glyph(r).advance
		}
	}
	return w * size / 1000
}

func (f *face) glyph(r rune) glyph {
	if g, ok := f.glyphs[r]; ok {
		return g
	}
	return f.glyphs[missing]
}

// printable returns a cleaned text with only letters of the face, and whether any had to
// be replaced.
func (f *face) printable(s string) (text string, lost bool) {
	text = strings.Map(func(r rune) rune {
		if _, ok := f.glyphs[r]; ok {
			return r
		}
		if unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Variation_Selector, r) { // of no width
			return -1
		}
		lost = true
		return missing
	}, clean(s))
	return text, lost
}

// wordsOf returns what a line may end between.
func wordsOf(s string) iter.Seq[string] {
	return strings.FieldsFuncSeq(s, func(r rune) bool { return r == ' ' || r == '\n' })
}

// wrap parts a text into lines no wider than so much, between words where it can, and
// within a word that is wider than a line. It returns at least one line.
func (f *face) wrap(s string, size, width float64) []string {
	var lines []string
	line, lineWidth := "", 0.
	space := f.width(" ", size)
	for word := range wordsOf(s) {
		w := f.width(word, size)
		if line != "" && lineWidth+space+w <= width {
			line, lineWidth = line+" "+word, lineWidth+space+w
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for w > width {
			head := f.fit(word, size, width)
			if head == word { // one letter, wider than a line
				break
			}
			lines, word = append(lines, head), word[len(head):]
			w = f.width(word, size)
		}
		line, lineWidth = word, w
	}
	return append(lines, line)
}

// fit returns the longest beginning of a word, at least one letter, that is no wider
// than so much; one that ends with a hyphen, a slash or the like if that is not much
// shorter.
func (f *face) fit(word string, size, width float64) string {
	w, end, nice := 0., 0, 0
	for at, r := range word {
		if !unicode.Is(unicode.Mn, r) {
			w += f.glyph(r).advance * size / 1000
			if w > width && end > 0 {
				break
			}
		}
		if end = at + len(string(r)); strings.ContainsRune("-/_.,:;&?", r) {
			nice = end
		}
	}
	if 2*nice > end {
		return word[:nice]
	}
	return word[:end]
}
