package main

import (
	"fmt"
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
)

// messages is where what is for a person goes, and not for a program. That it
// cannot be written there stops nothing.
type messages struct{ io.Writer }

func (m messages) line(text string) { _, _ = fmt.Fprintln(m, text) }

// terminal reports whether somebody can see something move.
func (m messages) terminal() bool {
	f, ok := m.Writer.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// bar is how far something has come: drawn on a terminal, else told in a few lines.
type bar struct {
	messages
	what              string
	done, told, total int
	drawn             *progressbar.ProgressBar
}

func (m messages) bar(what string, total int) *bar {
	b := &bar{messages: m, what: what, total: total}
	if m.terminal() {
		b.drawn = progressbar.NewOptions(total, progressbar.OptionSetWriter(m), progressbar.OptionSetDescription(what),
			progressbar.OptionShowCount(), progressbar.OptionSetWidth(30), progressbar.OptionSetPredictTime(true),
			progressbar.OptionOnCompletion(func() { m.line("") }))
	}
	return b
}

// add tells that n more of the total are done.
func (b *bar) add(n int) {
	b.done += n
	if b.drawn != nil {
		_ = b.drawn.Add(n)
		return
	}
	const steps = 4
	if step := steps * b.done / b.total; step > b.told {
		b.told = step
		b.line(fmt.Sprintf("%s: %d of %d", b.what, b.done, b.total))
	}
}
