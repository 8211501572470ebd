package render

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
)

// A node is an element of a page or a drawing.
type node struct {
	name     string
	attrs    map[string]string
	text     string // of its own, not of those in it
	children []*node
}

// parse reads HTML or SVG as XML, which both are but for the few elements of HTML that
// have no end.
func parse(t *testing.T, page []byte) *node {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, []string{"meta", "br"}, xml.HTMLEntity
	root := &node{}
	open := []*node{root}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%v in %s", err, page)
		}
		top := open[len(open)-1]
		switch token := token.(type) {
		case xml.StartElement:
			n := &node{name: token.Name.Local, attrs: map[string]string{}}
			for _, a := range token.Attr {
				n.attrs[a.Name.Local] = a.Value
			}
			top.children = append(top.children, n)
			open = append(open, n)
		case xml.EndElement:
			if top.name != token.Name.Local {
				t.Fatalf("<%s> ends as </%s>", top.name, token.Name.Local)
			}
			open = open[:len(open)-1]
		case xml.CharData:
			top.text += string(token)
		}
	}
	return root
}

// all returns the elements of a name in an element, in order.
func (n *node) all(name string) []*node {
	var list []*node
	for _, c := range n.children {
		if c.name == name {
			list = append(list, c)
		}
		list = append(list, c.all(name)...)
	}
	return list
}

// words returns all text of an element.
func (n *node) words() string {
	s := n.text
	for _, c := range n.children {
		s += " " + c.words()
	}
	return strings.Join(strings.Fields(s), " ")
}

func page(t *testing.T, d *Document) (*node, string) {
	t.Helper()
	var out bytes.Buffer
	if err := d.HTML(&out); err != nil {
		t.Fatal(err)
	}
	return parse(t, out.Bytes()), out.String()
}

func TestPageIsSemanticAndSelfContained(t *testing.T) {
	t.Parallel()
	root, text := page(t, sample(50))
	html := root.all("html")[0]
	if html.attrs["lang"] != "en" {
		t.Errorf("the language is %q", html.attrs["lang"])
	}
	for _, name := range []string{"script", "link", "img", "iframe", "object", "form"} {
		if n := len(root.all(name)); n > 0 {
			t.Errorf("there are %d <%s>", n, name)
		}
	}
	for _, outside := range []string{"@import", "url(", "src=", "style="} {
		if strings.Contains(text, outside) {
			t.Errorf("the page has %s", outside)
		}
	}
	table := root.all("table")[0]
	if got := table.all("caption")[0].words(); got != "Harvest by site" {
		t.Errorf("the caption is %q", got)
	}
	heads := table.all("thead")[0].all("th")
	for _, h := range heads {
		if h.attrs["scope"] != "col" {
			t.Errorf("%s has scope %q", h.words(), h.attrs["scope"])
		}
	}
	rows := table.all("tbody")[0].all("tr")
	if len(rows) != 50 || len(heads) != 5 {
		t.Fatalf("%d rows, %d heads", len(rows), len(heads))
	}
	if th := rows[3].children[0]; th.name != "th" || th.attrs["scope"] != "row" || th.all("a")[0].attrs["href"] != "https://example.org/v1/sites/4" {
		t.Errorf("a row begins with %+v", th)
	}
	if got := table.all("tfoot")[0].words(); !strings.HasPrefix(got, "Total 41 925 1 256 849.25") {
		t.Errorf("the last row is %q", got)
	}
	var notes []string
	for _, l := range root.all("ul") {
		if l.attrs["class"] == "below" {
			notes = append(notes, l.words())
		}
	}
	if want := "¹ estimated: deaths of three days were not recorded ² no fish were counted at harvest Sites that harvested nothing are left out."; !slices.Equal(notes, []string{want}) {
		t.Errorf("the notes are %q", notes)
	}
	if got := root.all("dd")[1].all("a"); len(got) != 0 && got[0].attrs["href"] != "#sites" {
		t.Errorf("the note leads to %+v", got)
	}
}

func TestPageEscapesEverything(t *testing.T) {
	t.Parallel()
	const bad = `<script>alert("1")</script>&'"`
	d := &Document{Title: bad, Subtitle: bad, Issuer: bad, Mark: bad, Sections: []Section{{Title: bad, Blocks: []Block{
		Paragraph(bad), Figures{{Label: bad, Value: bad, Note: bad, Link: "javascript:alert(1)", As: Number(1, bad)}}, Box{Title: bad, Lines: []string{bad}},
		Links{{bad, "javascript:alert(1)"}, {bad, `https://example.org/"><script>`}, {"to nowhere", "#nowhere"}},
		&Table{Name: `x"><script>`, Title: bad, Note: bad, Total: Row(bad), Columns: []Column{{Title: bad, As: Money(2, bad)}},
			Rows: slices.Values([][]Cell{{{Text: bad, Note: bad, Link: "data:text/html,x"}}})},
	}}}}
	root, text := page(t, d)
	if len(root.all("script")) > 0 || strings.Contains(text, "<script") || strings.Contains(text, "javascript:") || strings.Contains(text, "data:text") {
		t.Errorf("something came through: %s", text)
	}
	if got := root.all("h1")[0].words(); got != strings.Join(strings.Fields(bad), " ") {
		t.Errorf("the title reads %q", got)
	}
	if n := len(root.all("a")); n != 1 {
		t.Errorf("%d links, not the one that leads somewhere", n)
	}
}

// Heads of many words are not squeezed into a word a line, and a short unit stays with a
// word.
func TestHeadsOfAPage(t *testing.T) {
	t.Parallel()
	d := &Document{Sections: []Section{{Blocks: []Block{&Table{Rows: slices.Values([][]Cell{Row("1", "2", "3")}),
		Columns: []Column{{Title: "Chance of the best third", As: Percent(0)}, {Title: "Cost per kilogram", As: Number(2, "KES/kg")}, {Title: "Why it is so"}}}}}}}
	var out bytes.Buffer
	if err := d.HTML(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<th scope="col" class="number long">Chance of the best third<span class="unit">,` + wide + `%</span></th>`,
		`<th scope="col" class="number">Cost per kilogram<span class="unit">, KES/kg</span></th>`, `<th scope="col" class="words long">Why it is so</th>`} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%s is missing in %s", want, out.String()[strings.Index(out.String(), "<thead>"):])
		}
	}
}
