package web

import (
	_ "embed"
	"net/http"
)

// The page is three files, as they are: nothing is built, and nothing of
// elsewhere is fetched. They hold nothing of a show.
var (
	//go:embed page/page.html
	pageHTML []byte
	//go:embed page/page.css
	pageCSS []byte
	//go:embed page/page.js
	pageJS []byte
)

// part is one of them.
type part struct {
	kind string
	text []byte
}

var shell = map[string]part{
	"/{$}":      {"text/html; charset=utf-8", pageHTML},
	"/page.css": {"text/css; charset=utf-8", pageCSS},
	"/page.js":  {"text/javascript; charset=utf-8", pageJS},
}

func (p part) serve(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", p.kind)
	_, _ = w.Write(p.text) // who has gone does not need it
}
