// Package rendertest looks at pages in a real browser.
package rendertest

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser starts a browser for a test. Where there is none the test is skipped and says
// so; on the machine that every change has to pass it fails.
func browser(t *testing.T) context.Context {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			program = found
			break
		}
	}
	if program == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no browser is here (chromium)")
		}
		t.Skip("the page was not looked at: no browser is here (chromium)")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// A look is what a browser makes of a page.
type look struct {
	Width    float64 // of what is laid out
	Overflow []string
	Charts   int // that can be seen
	Small    []string
	Outside  []string
}

// looking is run in the page: it says what sticks out of it, which charts are visible,
// which letters are too small to read, and which texts stick out of their chart.
const looking = `(() => {
	const seen = e => e.getClientRects().length > 0;
	const wide = document.documentElement.clientWidth;
	const out = {width: document.documentElement.scrollWidth, overflow: [], charts: 0, small: [], outside: []};
	for (const e of document.querySelectorAll("body *")) {
		if (!seen(e) || e.closest(".scroll") && !e.matches(".scroll") || e.closest("svg") && !e.matches("svg")) continue;
		if (e.getBoundingClientRect().right > wide + 0.5) out.overflow.push(e.tagName + " " + e.textContent.slice(0, 40));
	}
	for (const svg of document.querySelectorAll("figure svg")) {
		if (!seen(svg)) continue;
		const r = svg.getBoundingClientRect();
		if (r.width > 100 && r.height > 100) out.charts++;
		for (const t of svg.querySelectorAll("text")) {
			const b = t.getBoundingClientRect();
			if (b.left < r.left - 1 || b.right > r.right + 1 || b.bottom > r.bottom + 1 || b.top < r.top - 1) out.outside.push(t.textContent);
			if (parseFloat(t.getAttribute("font-size")) * r.width / svg.viewBox.baseVal.width < 10) out.small.push(t.textContent);
		}
	}
	return out;
})()`

// Page shows a page in a browser, as wide as a phone and as a screen, under its policy,
// and complains if anything sticks out of it, cannot be read, is not styled or is asked
// for elsewhere, or if not so many charts can be seen. With SCREENSHOTS in the
// environment, pictures of the name are left in that directory.
func Page(t *testing.T, name string, page []byte, policy string, charts int) {
	t.Helper()
	ctx := browser(t)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/" {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", policy)
		if _, err := w.Write(page); err != nil {
			t.Error(err)
		}
	}))
	defer server.Close()

	var mu sync.Mutex
	var asked, complaints []string
	err := chromedp.Listen(ctx, func(event any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := event.(type) {
		case *network.EventRequestWillBeSent:
			asked = append(asked, e.Request.URL)
		case *runtime.EventExceptionThrown:
			complaints = append(complaints, e.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			complaints = append(complaints, fmt.Sprint(e.Type))
		case *log.EventEntryAdded: // such as what the policy forbids
			if !strings.HasSuffix(e.Entry.URL, "/favicon.ico") {
				complaints = append(complaints, e.Entry.Text)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, width := range []int64{360, 1200} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), chromedp.Navigate(server.URL+"/")); err != nil {
			t.Fatal(err)
		}
		l, err := chromedp.Run(ctx, chromedp.Evaluate[look](looking))
		if err != nil {
			t.Fatal(err)
		}
		background, err := chromedp.Run(ctx, chromedp.Evaluate[string](`getComputedStyle(document.querySelector("thead th")).backgroundColor`))
		if err != nil {
			t.Fatal(err)
		}
		if l.Width > float64(width) || len(l.Overflow) > 0 {
			t.Errorf("at %d px the page is %g px wide: %v", width, l.Width, l.Overflow)
		}
		if l.Charts != charts {
			t.Errorf("at %d px %d of %d charts can be seen", width, l.Charts, charts)
		}
		if len(l.Small) > 0 || len(l.Outside) > 0 {
			t.Errorf("at %d px too small: %v, outside: %v", width, l.Small, l.Outside)
		}
		if background != "rgb(234, 241, 246)" {
			t.Errorf("at %d px the page is not styled: %s", width, background)
		}
		if dir := os.Getenv("SCREENSHOTS"); dir != "" {
			shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.png", name, width)), shot, 0o600); err != nil {
				t.Error(err)
			}
		}
	}
	mu.Lock()
	defer mu.Unlock()
	for _, url := range asked {
		if url != server.URL+"/" && !strings.HasSuffix(url, "/favicon.ico") {
			t.Errorf("the page asked for %s", url)
		}
	}
	if len(complaints) > 0 {
		t.Errorf("the browser complains: %v", complaints)
	}
}
