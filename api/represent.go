package api

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/postgres"
)

// The media types that answers come in.
const (
	asJSON = "application/json"
	asHTML = "text/html"
	asPDF  = "application/pdf"
	asXLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	asCSV  = "text/csv"
	asSVG  = "image/svg+xml"
	asXML  = "application/xml"
)

// extensions are the suffixes of addresses, as x-suffixes of the contract has them, and
// of the names of files.
var extensions = map[string]string{asJSON: "json", asHTML: "html", asPDF: "pdf", asXLSX: "xlsx", asCSV: "csv", asSVG: "svg", asXML: "xml"}

// suffixed takes the suffix of an address for an Accept of its media type: whoever asks
// for /v1/orders/{id}.pdf asks for /v1/orders/{id} as application/pdf. Nothing behind
// it knows of suffixes.
func suffixed(h http.Handler) http.Handler {
	medias := map[string]string{}
	for media, suffix := range extensions {
		medias["."+suffix] = media
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		at := strings.LastIndexByte(r.URL.Path, '.')
		if at < 0 || r.Method != http.MethodGet || !strings.HasPrefix(r.URL.Path, "/v1/") && !strings.HasPrefix(r.URL.Path, sharedPath) {
			h.ServeHTTP(w, r)
			return
		}
		suffix := r.URL.Path[at:]
		if media, ok := medias[suffix]; ok {
			plain, address := *r, *r.URL
			address.Path, address.RawPath = address.Path[:at], strings.TrimSuffix(address.RawPath, suffix)
			plain.URL, plain.Header = &address, r.Header.Clone()
			plain.Header.Set("Accept", media)
			r = &plain
		}
		h.ServeHTTP(w, r)
	})
}

// wanted returns the media type in which an operation is to answer, one of those that
// the contract has for it. JSON comes first if the client takes anything.
func wanted(c *gin.Context) string {
	offers := requestOf(c).operation.produces
	accept := strings.Join(c.Request.Header["Accept"], ",")
	if accept == "" {
		return offers[0]
	}
	return negotiate(accept, offers)
}

// newDocument begins a document: the co-operative issues it now.
func newDocument(ctx context.Context, c *gin.Context, tx *postgres.Tx) (*render.Document, error) {
	coop, err := postgres.Coops.Get(ctx, tx, credentialOf(c).Coop)
	if err != nil {
		return nil, err
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return nil, err
	}
	return &render.Document{Issuer: coop.Name, Date: actor.At, Lang: "en"}, nil
}

// numberFigure is a number as a key figure, with where it comes from or why there is
// none.
func numberFigure(label string, n domain.Number, decimals int) render.Figure {
	f := render.Figure{Label: label, As: render.Number(decimals, n.Unit), Note: n.Reason}
	if n.Known() {
		f.Value, f.Note = n.Literal(), n.Source
	}
	return f
}

// chartReply answers with a chart as a picture.
func chartReply(name string, chart render.Chart) (reply, error) {
	return fileReply(asSVG, name, func(w io.Writer) error { return render.SVG(w, chart, "en") })
}

// documentReply answers with a document, as the page, print, workbook or CSV (of its
// first table) that is wanted. The name is that of the file, without its extension.
func documentReply(c *gin.Context, name string, d *render.Document) (reply, error) {
	return tableReply(c, name, d, "")
}

// tableReply is documentReply with the table of that name as CSV, the first if it is
// empty.
func tableReply(c *gin.Context, name string, d *render.Document, table string) (reply, error) {
	media := wanted(c)
	switch media {
	case asHTML:
		a, err := fileReply(media, name, d.HTML)
		return a.with("Content-Security-Policy", render.ContentSecurityPolicy), err
	case asPDF:
		return fileReply(media, name, d.PDF)
	case asXLSX:
		return fileReply(media, name, d.XLSX)
	case asCSV:
		if table != "" {
			name += "-" + table
		}
		return fileReply(media, name, func(w io.Writer) error { return d.CSV(w, table) })
	}
	return reply{}, fmt.Errorf("a document cannot be shown as %q", media)
}

// fileReply answers with what is written, as a file of a name.
func fileReply(media, name string, write func(io.Writer) error) (reply, error) {
	var body bytes.Buffer
	if err := write(&body); err != nil {
		return reply{}, err
	}
	a := reply{status: http.StatusOK, media: media, body: body.Bytes()}
	return a.with("Content-Disposition", fmt.Sprintf("inline; filename=%q", name+"."+extensions[media])), nil
}
