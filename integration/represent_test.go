package integration_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// TestForecastInEveryRepresentation: the same numbers as a page, a print, a workbook,
// CSV and a picture, by suffix and by Accept.
func TestForecastInEveryRepresentation(t *testing.T) {
	t.Parallel()
	y := newBackyard(newService(t))
	batch, _ := y.fortnights(0, 84)
	forecast := func(suffix string, headers ...string) response {
		t.Helper()
		return y.do("GET", "/v1/batches/"+batch+"/forecast"+suffix+"?as_of="+day(84)+"&target_weight_g=400", y.keeper, nil, headers...).want(http.StatusOK)
	}
	said := forecast("")
	last := said.at("/days/56/weight_g/interval_95/1")
	for suffix, media := range map[string]string{".html": "text/html", ".pdf": "application/pdf", ".csv": "text/csv", ".svg": "image/svg+xml",
		".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ".json": "application/json"} {
		r := forecast(suffix)
		if got := r.header.Get("Content-Type"); got != media {
			t.Errorf("%s is %s", suffix, got)
		}
		if !strings.Contains(strings.Join(r.header.Values("Vary"), ","), "Accept") {
			t.Errorf("%s may be taken for another representation: %v", suffix, r.header.Values("Vary"))
		}
		if suffix != ".xlsx" && !bytes.Equal(forecast("", "Accept", media).body, r.body) && suffix != ".pdf" && suffix != ".html" { // whose date is now
			t.Errorf("%s is another answer than %s", suffix, media)
		}
		if dir := os.Getenv("SCREENSHOTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "forecast"+suffix), r.body, 0o600); err != nil {
				t.Error(err)
			}
		}
	}

	lines, err := csv.NewReader(bytes.NewReader(forecast(".csv").body)).ReadAll()
	if err != nil || len(lines) != 58 || lines[57][7] != last || lines[57][0] != day(140) || lines[0][7] != "weight_g_high_95" {
		t.Errorf("%v: %d lines, the last is %v, and JSON has %s", err, len(lines), lines[len(lines)-1], last)
	}
	book, err := excelize.OpenReader(bytes.NewReader(forecast(".xlsx").body))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if got, err := book.GetCellValue("days", "H58", excelize.Options{RawCellValue: true}); err != nil || got != last {
		t.Errorf("the workbook has %s, %v, and JSON has %s", got, err, last)
	}
	page := forecast(".html")
	if !strings.Contains(string(page.body), "Kafue Schools") || !strings.HasPrefix(page.header.Get("Content-Security-Policy"), "default-src 'none'; style-src 'sha256-") {
		t.Errorf("the page is %s with the policy %s", page.body, page.header.Get("Content-Security-Policy"))
	}
	if err := xml.Unmarshal(forecast(".svg").body, new(struct{ XMLName xml.Name })); err != nil && err != io.EOF {
		t.Error(err)
	}
	if got := page.header.Get("Content-Disposition"); got != `inline; filename="forecast.html"` {
		t.Errorf("the page is called %s", got)
	}

	y.do("GET", "/v1/batches/"+batch+"/forecast.xml", y.keeper, nil).want(http.StatusNotAcceptable, "not_acceptable")
	y.do("GET", "/v1/batches/"+batch+"/forecast", y.keeper, nil, "Accept", "application/json;q=0, image/png").want(http.StatusNotAcceptable, "not_acceptable")
	y.do("GET", "/v1/batches/"+batch+"/forecast.html?as_of="+day(84)+"&until="+day(83), y.keeper, nil).want(http.StatusBadRequest, "invalid_request")
	y.do("GET", "/v1/sites.csv", y.keeper, nil).want(http.StatusNotAcceptable, "not_acceptable")
	if got := y.do("GET", "/v1/batches/"+batch+"/forecast", y.keeper, nil, "Accept", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8").header.Get("Content-Type"); got != "text/html" {
		t.Errorf("a browser gets %s", got)
	}

	// A batch of which nothing can be said is shown all the same.
	young := y.stocks(day(0), 30, 0.3)
	for _, suffix := range []string{".html", ".pdf", ".csv", ".svg", ".xlsx"} {
		y.do("GET", "/v1/batches/"+young+"/forecast"+suffix+"?as_of="+day(10), y.keeper, nil).want(http.StatusOK)
	}
}
