package daemon

import (
	"regexp"
	"runtime"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// What of a bench file is nobody's business later: the token, and addresses with
// secrets in them.
var (
	token     = regexp.MustCompile(`(?m)^(\s*token:).*$`)
	addresses = regexp.MustCompile(`[^\s"'\[,]+://[^\s"'\],]*`)
)

func redacted(typed []byte) string {
	return addresses.ReplaceAllString(token.ReplaceAllString(string(typed), "$1 (left out)"), "(left out)")
}

// StartOf is what a run of a recipe on a bench is known by, for ever: both files
// as they were typed, the page's token left out.
func StartOf(b *config.Bench, r *config.Recipe, version string) history.Start {
	return history.Start{
		Title: r.Name + " on " + b.Name, Recipe: string(r.Typed), RecipeName: r.Name, Fingerprint: r.Fingerprint(),
		Bench:   redacted(b.Typed),
		Program: version + " " + runtime.GOARCH,
	}
}
