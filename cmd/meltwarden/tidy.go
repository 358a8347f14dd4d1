package main

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

func tidyCommand() *cobra.Command {
	var older string
	var dry, asJSON bool
	c := &cobra.Command{
		Use: "tidy --older-than DAYS", Short: "Thin the cycles of old runs, so that the history takes less room",
		Long: "Drops most cycles of runs that ended longer ago than this, and keeps what their plots\n" +
			"need. Recipes, events, shots with their cards, verdicts and photos stay. Such a run can\n" +
			"no longer be replayed: make a backup first. Nothing is ever dropped unless you ask for\n" +
			"it, here or with daemon.history.keep-cycles in the bench file.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			age, err := config.Days().Parse(older)
			if err != nil {
				return fmt.Errorf("--older-than %q: %w", older, err)
			}
			return withHistory(c, func(s *history.Store) error {
				done, err := s.Tidy(c.Context(), time.Now(), age, dry)
				if err != nil {
					return err
				}
				return tellTidied(c.OutOrStdout(), done, asJSON)
			})
		},
	}
	c.Flags().StringVar(&older, "older-than", "", "the age from which on, like \"365 days\"")
	c.Flags().BoolVar(&dry, "dry-run", false, "only say what would become of which run")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	_ = c.MarkFlagRequired("older-than") // the flag exists: it was made above
	dataFlag(c)
	return c
}

func tellTidied(out io.Writer, done history.Tidied, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(done)
	}
	for _, line := range review.TidiedLines(done) {
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
	}
	return nil
}
