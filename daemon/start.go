package daemon

import (
	"regexp"
	"runtime"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// token is a line of a bench file that is nobody's business later.
var token = regexp.MustCompile(`(?m)^(\s*token:).*$`)

// StartOf is what a run of a recipe on a bench is known by, for ever: both files
// as they were typed, the page's token left out.
func StartOf(b *config.Bench, r *config.Recipe, version string) history.Start {
	return history.Start{
		Title: r.Name + " on " + b.Name, Recipe: string(r.Typed), RecipeName: r.Name, Fingerprint: r.Fingerprint(),
		Bench:   token.ReplaceAllString(string(b.Typed), "$1 (left out)"),
		Program: version + " " + runtime.GOARCH,
	}
}
