package render

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"
)

// drawn returns a chart as a picture that was read again.
func drawn(t *testing.T, c Chart) *node {
	t.Helper()
	var out bytes.Buffer
	if err := SVG(&out, c, "en"); err != nil {
		t.Fatal(err)
	}
	return parse(t, out.Bytes()).all("svg")[0]
}

// classed returns the shapes of a class, in order.
func (n *node) classed(class string) []*node {
	var list []*node
	for _, c := range n.children {
		if c.attrs["class"] == class {
			list = append(list, c)
		}
	}
	return list
}

func (n *node) number(t *testing.T, attr string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(n.attrs[attr], 64)
	if err != nil {
		t.Fatalf("%s of %+v: %v", attr, n, err)
	}
	return v
}

// corners returns the points of a shape.
func (n *node) corners(t *testing.T) []xy {
	t.Helper()
	var list []xy
	for pair := range strings.FieldsSeq(n.attrs["points"]) {
		x, y, _ := strings.Cut(pair, ",")
		at, err := strconv.ParseFloat(x, 64)
		if err != nil {
			t.Fatal(err)
		}
		down, err := strconv.ParseFloat(y, 64)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, xy{at, down})
	}
	return list
}

// axis returns the scale that the labels of an axis tell: of class x along x, of class y
// along y.
func axis(t *testing.T, picture *node, class string) scale {
	t.Helper()
	labels := picture.classed(class)
	if len(labels) < 3 {
		t.Fatalf("%d labels at the axis", len(labels))
	}
	read := func(n *node) (value, at float64) {
		s := strings.NewReplacer(narrow, "", minus, "-").Replace(n.text)
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v, n.number(t, class)
	}
	// Those at the ends may have been moved into the picture.
	v0, at0 := read(labels[1])
	v1, at1 := read(labels[2])
	s := scale{v0, v1, at0, at1}
	if class == "y" { // of the line, not of the text beside it
		s.from, s.to = s.from-4, s.to-4
	}
	return s
}

func near(a, b float64) bool { return math.Abs(a-b) < 0.1 }

func TestBarsBeginAtZero(t *testing.T) {
	t.Parallel()
	c := charts()["bars"].(*Bars)
	picture := drawn(t, c)
	x := axis(t, picture, "x")
	bars := picture.classed("bar")
	if len(bars) != 11 {
		t.Fatalf("%d bars", len(bars))
	}
	i := 0
	for _, r := range c.Rows {
		for _, v := range r.Values {
			if v == "" {
				continue
			}
			p := bars[i].corners(t)
			i++
			if from, to := p[0].x, p[1].x; !near(math.Min(x.at(0), x.at(float(v))), from) || !near(math.Max(x.at(0), x.at(float(v))), to) {
				t.Errorf("the bar of %s %s goes from %g to %g, not from %g", r.Name, v, from, to, x.at(0))
			}
		}
	}
	if zero := picture.classed("zero")[0].corners(t); !near(zero[0].x, x.at(0)) {
		t.Errorf("zero is drawn at %g, not at %g", zero[0].x, x.at(0))
	}
	few := drawn(t, &Bars{As: Number(0, ""), Rows: []Bar{{"a", []string{"1000"}}, {"b", []string{"1001"}}}})
	if got := few.classed("x")[0].text; got != "0" {
		t.Errorf("the axis begins at %s", got)
	}
}

// Words over what is drawn have a halo, so that lines do not run through them.
func TestWordsOverLinesHaveAHalo(t *testing.T) {
	t.Parallel()
	over := map[string]bool{"level": true, "mark": true}
	for name, seen := range map[string]string{"funnel": "name", "lines": "level"} {
		c := charts()[name]
		picture := drawn(t, c)
		if len(picture.classed(seen)) == 0 {
			t.Errorf("%s has no %s", name, seen)
		}
		for _, n := range picture.children {
			if n.name != "text" {
				continue
			}
			class := n.attrs["class"]
			halo := n.attrs["paint-order"] == "stroke" && n.attrs["stroke"] == "#FFFFFF" && n.attrs["stroke-width"] == "4"
			if want := over[class] || name == "funnel" && class == "name"; halo != want {
				t.Errorf("%s: %q of class %q has a halo: %v", name, n.text, class, halo)
			}
		}
	}
}

// A name stands where no line is, if there is such a place.
func TestNamesOfAFunnelKeepOffItsLines(t *testing.T) {
	t.Parallel()
	for _, value := range []float64{50, 51, 49, 70, 30, 72} {
		c := &Funnel{What: "Survival", As: Percent(1), Centre: 50, Dots: []Dot{{"Kafue Basic School", 5, value, Look}, {"Other", 9, 80, Usual}, {"Another", 1, 20, Usual}}}
		for size := 0.; size <= 10; size++ {
			c.Limits = append(c.Limits, Limit{size, 30, 70, 10, 90})
		}
		picture := drawn(t, c)
		names := picture.classed("name")
		if len(names) != 1 {
			t.Fatalf("%g: %d names", value, len(names))
		}
		base := names[0].number(t, "y")
		lines := append(picture.classed("limit"), picture.classed("centre")...)
		if len(lines) != 5 {
			t.Fatalf("%d lines", len(lines))
		}
		for _, l := range lines { // all are level
			if y := l.corners(t)[0].y; y > base-9 && y < base+3 {
				t.Errorf("a line at %g runs through the name at %g of the group at %g", y, base, value)
			}
		}
	}
}

func TestFunnelPlacesGroupsAndLimits(t *testing.T) {
	t.Parallel()
	c := charts()["funnel"].(*Funnel)
	picture := drawn(t, c)
	x, y := axis(t, picture, "x"), axis(t, picture, "y")
	seen := 0
	for _, dot := range c.Dots {
		for _, n := range picture.children {
			if len(n.children) == 1 && strings.HasPrefix(n.children[0].text, dot.Name+": ") {
				seen++
				at := xy{}
				if n.name == "circle" {
					at = xy{n.number(t, "cx"), n.number(t, "cy")}
				} else {
					for _, p := range n.corners(t) {
						at.x, at.y = at.x+p.x/4, at.y+p.y/4
					}
				}
				if !near(at.x, x.at(dot.Size)) || !near(at.y, y.at(dot.Value)) {
					t.Errorf("%s is at %v, not at %g, %g", dot.Name, at, x.at(dot.Size), y.at(dot.Value))
				}
			}
		}
	}
	if seen != len(c.Dots) {
		t.Errorf("%d of %d groups are drawn", seen, len(c.Dots))
	}
	if n, m := len(picture.classed("different")), len(picture.classed("look")); n != 2 || m != 2 { // with that of the key
		t.Errorf("%d are different, %d worth a look", n, m)
	}
	limits := picture.classed("limit")
	if len(limits) != 4 {
		t.Fatalf("%d limits", len(limits))
	}
	frame := picture.classed("grid")
	bottom, top := frame[0].corners(t)[0].y, frame[len(frame)-1].corners(t)[0].y
	for _, l := range limits {
		for _, p := range l.corners(t) {
			if p.y > bottom+0.01 || p.y < top-0.01 {
				t.Errorf("a limit leaves the plane: %v", p)
			}
		}
	}
	low := limits[0].corners(t)
	last := c.Limits[len(c.Limits)-2] // of those that are drawn whole
	if p := low[len(low)-1]; !(p.x > x.at(last.Size)) && !near(p.y, y.at(last.Low998)) {
		t.Errorf("the lower limit ends at %v", p)
	}
	named := picture.classed("name")
	if len(named) != 2 {
		t.Errorf("%d groups are named", len(named))
	}
}

func TestCaterpillarPlacesIntervals(t *testing.T) {
	t.Parallel()
	c := charts()["caterpillar"].(*Caterpillar)
	picture := drawn(t, c)
	x := axis(t, picture, "x")
	lines := picture.classed("interval")
	if len(lines) != len(c.Rows) {
		t.Fatalf("%d intervals", len(lines))
	}
	for i, r := range c.Rows {
		if p := lines[i].corners(t); !near(p[0].x, x.at(r.Low)) || !near(p[1].x, x.at(r.High)) {
			t.Errorf("%s goes from %g to %g, not from %g to %g", r.Name, p[0].x, p[1].x, x.at(r.Low), x.at(r.High))
		}
	}
	if got := picture.classed("value")[3].text; got != "66.2 (58.2 to 74.2)" {
		t.Errorf("a value reads %q", got)
	}
}

func TestLinesPlaceDaysAndValues(t *testing.T) {
	t.Parallel()
	c := charts()["lines"].(*Lines)
	picture := drawn(t, c)
	y := axis(t, picture, "y")
	if got := picture.classed("y")[0].text; got != "0" {
		t.Errorf("the axis begins at %s", got)
	}
	ticks := picture.classed("tick")
	labels := picture.classed("x")
	if labels[1].text != "1\u00a0Sep" || labels[2].text != "1\u00a0Oct" {
		t.Fatalf("the days are %q, %q", labels[1].text, labels[2].text)
	}
	x := scale{dayOf("2026-09-01"), dayOf("2026-10-01"), ticks[1].corners(t)[0].x, ticks[2].corners(t)[0].x}
	for i, n := range picture.classed("measured") {
		p := c.Series[1].Points[i]
		if !near(n.number(t, "cx"), x.at(dayOf(p.On))) || !near(n.number(t, "cy"), y.at(p.Value)) {
			t.Errorf("%v is not where it belongs", p)
		}
	}
	band := picture.classed("band")[0].corners(t)
	if r := c.Bands[0].Ranges[0]; !near(band[0].y, y.at(r.High)) || !near(band[len(band)-1].y, y.at(r.Low)) || !near(band[0].x, x.at(dayOf(r.On))) {
		t.Errorf("the band begins at %v", band[0])
	}
}

// TestBridgeLeadsFromOneAmountToTheOther: every step begins where the one before ended.
func TestBridgeLeadsFromOneAmountToTheOther(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"bridge", "bridge-zero"} {
		c := charts()[name].(*Bridge)
		picture := drawn(t, c)
		x := axis(t, picture, "x")
		at := float(c.From.Value)
		var steps []*node
		for _, n := range picture.children {
			switch n.attrs["class"] {
			case "up", "down", "same":
				steps = append(steps, n)
			}
		}
		if len(steps) != len(c.Steps) {
			t.Fatalf("%d of %d steps", len(steps), len(c.Steps))
		}
		for i, s := range c.Steps {
			lo, hi := math.Min(at, at+float(s.Value)), math.Max(at, at+float(s.Value))
			if p := steps[i].corners(t); !near(p[0].x, x.at(lo)) || !near(p[1].x, x.at(hi)) {
				t.Errorf("%s, %s goes from %g to %g, not from %g to %g", name, s.Name, p[0].x, p[1].x, x.at(lo), x.at(hi))
			}
			at += float(s.Value)
		}
		if math.Abs(at-float(c.To.Value)) > 1e-9 {
			t.Errorf("%s ends at %g", name, at)
		}
		told := strings.Contains(picture.words(), english.cutAxis)
		if cut := picture.classed("x")[0].text != "0"; cut != told || cut != (name == "bridge") {
			t.Errorf("%s: cut %v, told %v", name, cut, told)
		}
	}
}

func TestChartsAreToldInWords(t *testing.T) {
	t.Parallel()
	for name, c := range charts() {
		picture := drawn(t, c)
		title, desc := picture.children[0], picture.children[1]
		if picture.attrs["role"] != "img" || picture.attrs["aria-labelledby"] != "chart-t chart-d" || title.attrs["id"] != "chart-t" || desc.attrs["id"] != "chart-d" {
			t.Errorf("%s is not told: %+v", name, picture.attrs)
		}
		if title.name != "title" || title.text == "" || desc.name != "desc" || len(desc.text) < 40 {
			t.Errorf("%s is told as %q, %q", name, title.text, desc.text)
		}
	}
	if got := drawn(t, charts()["funnel"]).children[1].text; !strings.Contains(got, "different: Łódź Training Farm 66.2") || !strings.Contains(got, "worth a look: Kafue 88.9") {
		t.Errorf("the funnel is told as %q", got)
	}
}

func TestChartsOfNothingAndOfNonsense(t *testing.T) {
	t.Parallel()
	const bad = `<script>"&'`
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []Chart{
		&Bars{}, &Lines{}, &Bridge{}, &Funnel{}, &Caterpillar{},
		&Bars{Head: Head{bad, bad}, What: bad, Series: []string{bad, bad}, As: Number(1, bad), Rows: []Bar{{bad, []string{bad, "1"}}}},
		&Lines{Head: Head{bad, bad}, Series: []Series{{bad, true, []Point{{"never", nan}, {"2026-01-01", inf}}}}, Bands: []Band{{bad, []Range{{"2026-01-01", nan, inf}}}}, Levels: []Level{{bad, nan}}, Marks: []Mark{{bad, bad}}},
		&Bridge{Head: Head{bad, bad}, From: Step{bad, bad}, Steps: []Step{{bad, "0"}}, To: Step{bad, ""}},
		&Funnel{Head: Head{bad, bad}, Size: bad, Centre: nan, Limits: []Limit{{0, nan, nan, inf, inf}, {1, 0, 1, 0, 1}}, Dots: []Dot{{bad, nan, inf, Different}, {bad, 0, 0, Look}}},
		&Caterpillar{Head: Head{bad, bad}, Centre: &nan, Rows: []Interval{{bad, nan, inf, -inf, Different}}},
	} {
		for _, width := range []float64{wideChart, narrowChart} {
			var out bytes.Buffer
			c.draw(width, french).svg(&out, "c", "large")
			parse(t, out.Bytes())
			if text := out.String(); strings.Contains(text, "<script") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
				t.Errorf("%T is drawn as %.2000s", c, text[strings.IndexAny(text, "NI"):])
			}
		}
		printed(t, &Document{Sections: []Section{{Blocks: []Block{c}}}})
	}
}

func TestTallChartsAreParted(t *testing.T) {
	t.Parallel()
	c := &Caterpillar{Head: Head{Title: "Many"}}
	for i := range 100 {
		c.Rows = append(c.Rows, Interval{Name: "row " + strconv.Itoa(i) + ".", Value: float64(i), Low: float64(i - 5), High: float64(i + 5)})
	}
	pages := textOf(t, printed(t, &Document{Sections: []Section{{Blocks: []Block{c}}}}))
	all := strings.Join(pages, "\n")
	for i := range 100 {
		if n := strings.Count(all, "row "+strconv.Itoa(i)+"."); n != 1 {
			t.Errorf("row %d is there %d times", i, n)
		}
	}
	for i, p := range pages {
		if !strings.Contains(p, "100") || !strings.Contains(p, "−20") {
			t.Errorf("page %d has another axis", i+1)
		}
	}
}

func TestLinesThatCrossAName(t *testing.T) {
	t.Parallel()
	r := rect{10, 10, 30, 20}
	for name, c := range map[string]struct {
		line    []xy
		crossed bool
	}{
		"through it":           {[]xy{{0, 15}, {40, 15}}, true},
		"up through it":        {[]xy{{20, 0}, {20, 40}}, true},
		"up beside it":         {[]xy{{31, 0}, {31, 40}}, false},
		"over a corner":        {[]xy{{0, 15}, {15, 0}}, false},
		"through a corner":     {[]xy{{0, 25}, {20, 5}}, true},
		"by its second piece":  {[]xy{{0, 0}, {40, 0}, {20, 15}}, true},
		"ends before it":       {[]xy{{0, 15}, {9, 15}}, false},
		"below it all the way": {[]xy{{0, 21}, {40, 22}}, false},
	} {
		if got := r.crossed(c.line); got != c.crossed {
			t.Errorf("%s: %v", name, got)
		}
	}
}
