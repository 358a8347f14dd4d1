package daemon

import (
	"fmt"
	"runtime"
	"strings"

	"meltwarden/config"
	"meltwarden/daemon/batch"
	"meltwarden/daemon/history"
)

// redacted is a bench file as typed without what is nobody's business later: the
// token, and addresses with secrets in them. They are looked for as they were
// understood, however they are written; where one is spelled in a way that hides it,
// nothing of the file is kept but its name.
func redacted(b *config.Bench) string {
	kept := string(b.Typed)
	secrets := append([]string{b.Daemon.Token}, b.Daemon.Notify...)
	for _, secret := range secrets {
		if secret == "" {
			continue
		}
		if !strings.Contains(kept, secret) {
			return fmt.Sprintf("name: %q # the rest is left out: a secret in it could not be found to be taken out\n", b.Name)
		}
		kept = strings.ReplaceAll(kept, secret, "(left out)")
	}
	return kept
}

// StartOf is what a run of a recipe on a bench is known by, for ever: both files
// as they were typed, the page's token left out.
func StartOf(b *config.Bench, r *config.Recipe, version string) history.Start {
	pots := make([]string, len(b.Pots))
	for i, p := range b.Pots {
		pots[i] = p.Name
	}
	return history.Start{
		Title: r.Name + " on " + b.Name, Recipe: string(r.Typed), RecipeName: r.Name, Fingerprint: r.Fingerprint(),
		Bench:   redacted(b),
		Potfuls: batch.Potfuls(r, pots), DoseKJ: b.DoseKJ,
		Program: version + " " + runtime.GOARCH,
	}
}
