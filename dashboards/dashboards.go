// Package dashboards has what people look at: the bench's page, embedded, with
// its styles and scripts. It knows nothing of the bench; every figure and every
// changing word comes from outside, and the scripts only put them in place.
package dashboards

import (
	"embed"
	"html/template"
	"path"
)

// Assets are the page's own files, under "assets/".
//
//go:embed assets
var Assets embed.FS

//go:embed page.html
var source string

// Page is the template of the page.
var Page = template.Must(template.New("page").Parse(source))

// mediaTypes are written down here because the system's own table may differ,
// and a browser told "nosniff" takes no script under another type.
var mediaTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// MediaType returns the media type of an asset by its name.
func MediaType(name string) string { return mediaTypes[path.Ext(name)] }
