package render

func (p *printer) block(b Block) {
	switch b := b.(type) {
	case Paragraph:
		for _, s := range b.split() {
			p.flow(s, letters{textSize, false, ink})
			p.y += 2
		}
	case Figures:
		p.figures(b)
	case Box:
		p.box(b)
	case Links:
		p.sources(b)
	case *Table:
		if !b.Data {
			p.table(b)
		}
	case chart:
		p.chart(b)
	}
}

// figures sets cards, three in a row.
func (p *printer) figures(figures Figures) {
	const gap, pad = 4., 3.5
	across := min(3, max(1, len(figures)))
	if len(figures) == 4 {
		across = 2
	}
	width := (p.inner() - gap*float64(across-1)) / float64(across)
	label, note := letters{smallSize, false, quiet}, letters{tiny, false, quiet}
	for len(figures) > 0 {
		row := figures[:min(across, len(figures))]
		figures = figures[len(row):]
		labels, values, notes := make([][]string, len(row)), make([]string, len(row)), make([][]string, len(row))
		tallest, most := 0, 0
		for i, f := range row {
			labels[i] = label.wrap(p.printable(f.Label), width-2*pad)
			values[i] = p.printable(f.As.withUnit(f.Value, p.words))
			if f.Note != "" {
				notes[i] = note.wrap(p.printable(f.Note), width-2*pad)
			}
			tallest, most = max(tallest, len(labels[i])), max(most, len(notes[i]))
		}
		height := 2*pad + float64(tallest)*label.lead() + 8 + float64(most)*note.lead()
		p.room(height)
		for i, f := range row {
			x, y := side+float64(i)*(width+gap), p.y
			p.fill(x, y, width, height, hint)
			p.fill(x, y, 0.9, height, navy)
			p.link(x, y, width, height, f.Link)
			y += pad
			for _, s := range labels[i] {
				p.text(x+pad, y+label.size*point*0.9, s, label, start)
				y += label.lead()
			}
			y = p.y + pad + float64(tallest)*label.lead()
			value := letters{15, true, ink}
			for value.width(values[i]) > width-2*pad && value.size > 7 {
				value.size -= 0.5
			}
			p.text(x+pad, y+5.6, p.fitting(values[i], value, width-2*pad), value, start)
			y += 8
			for _, s := range notes[i] {
				p.text(x+pad, y+note.size*point, s, note, start)
				y += note.lead()
			}
		}
		p.y += height + gap
	}
	p.y += 1
}

// box sets text on a coloured ground, on more than one page if it must be.
func (p *printer) box(b Box) {
	const pad, indent = 3., 3.5
	head, text := letters{smallSize + 0.5, true, ink}, letters{smallSize + 0.5, false, ink}
	type line struct {
		s      string
		l      letters
		first  bool // of an item
		indent float64
	}
	var lines []line
	for _, s := range head.wrap(p.printable(b.title(p.words)), p.inner()-2*pad-1) {
		lines = append(lines, line{s: s, l: head})
	}
	for _, item := range b.Lines {
		in := indent
		if len(b.Lines) == 1 {
			in = 0
		}
		for i, s := range text.wrap(p.printable(item), p.inner()-2*pad-in-1) {
			lines = append(lines, line{s, text, i == 0 && in > 0, in})
		}
	}
	ground, bar := hint, navy
	if b.Kind != Note {
		ground, bar = warning, vermilion
	}
	lead := text.lead()
	if height := float64(len(lines))*lead + 2*pad; height < p.h-top-bottom {
		p.room(height)
	}
	for len(lines) > 0 {
		p.room(3*lead + 2*pad)
		n := min(len(lines), int((p.left()-2*pad)/lead))
		height := float64(n)*lead + 2*pad
		p.fill(side, p.y, p.inner(), height, ground)
		p.fill(side, p.y, 0.9, height, bar)
		y := p.y + pad
		for _, l := range lines[:n] {
			base := y + l.l.size*point*1.02
			if l.first {
				p.text(side+pad+1, base, "•", l.l, start)
			}
			p.text(side+pad+1+l.indent, base, l.s, l.l, start)
			y += lead
		}
		p.y += height + 3
		lines = lines[n:]
	}
}

// sources sets a list of links, their addresses in print.
func (p *printer) sources(links Links) {
	for _, l := range links {
		text := letters{smallSize + 0.5, false, ink}
		if l.URL != "" {
			text.colour = blue
		}
		s := p.printable(l.Text)
		if l.URL != "" && l.URL != l.Text {
			s += "  " + p.printable(l.URL)
		}
		for _, line := range text.wrap(s, p.inner()) {
			p.room(text.lead())
			p.link(side, p.y, text.width(line), text.lead(), l.URL)
			p.text(side, p.y+text.size*point, line, text, start)
			p.y += text.lead()
		}
	}
	p.y += 2
}
