package render

import (
	"bytes"
	"testing"

	"shoalbook/api/render/rendertest"
)

func TestPageInABrowser(t *testing.T) {
	t.Parallel()
	var page bytes.Buffer
	if err := illustrated().HTML(&page); err != nil {
		t.Fatal(err)
	}
	rendertest.Page(t, "page", page.Bytes(), ContentSecurityPolicy, len(charts()))
}
