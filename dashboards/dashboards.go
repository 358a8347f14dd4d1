// Package dashboards has what people look at: the pages of the bench, of past runs
// and of recipes, embedded, with their styles and scripts. It knows nothing of the bench; every figure and every
// changing word comes from outside, and the scripts only put them in place.
package dashboards

import (
	"embed"
	"html/template"
	"path"
)

// Assets are the pages' own files, under "assets/".
//
//go:embed assets
var Assets embed.FS

//go:embed *.html
var sources embed.FS

// Watching is what a metrics server, its alert manager and its dashboards read: rules with
// their tests, examples of configuration, dashboards, and what they are for.
//
//go:embed README.md prometheus alertmanager grafana
var Watching embed.FS

//go:generate go run ./make

// Pages are the templates of the pages, by the names of their files, and of the
// parts they have in common.
var Pages = template.Must(template.ParseFS(sources, "*.html"))

// mediaTypes are written down here because the system's own table may differ,
// and a browser told "nosniff" takes no script under another type.
var mediaTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// MediaType returns the media type of an asset by its name.
func MediaType(name string) string { return mediaTypes[path.Ext(name)] }
