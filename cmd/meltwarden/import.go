package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

func importCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "import FILE", Short: "Bring the runs of an archive, or of a backup, into this history",
		Long: "Brings the runs of a file in that export --as archive or backup has written, perhaps on\n" +
			"another computer. They get numbers of this history and are marked as brought; a run that\n" +
			"is here already is left as it is. It is all or nothing. Nothing that heats goes by a run\n" +
			"that was brought, nor by a bench's commissioning elsewhere, which does not come along.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withNewHistory(c, func(s *history.Store) error {
				runs, err := s.Import(args[0], time.Now())
				if err != nil {
					return err
				}
				return tellBrought(c.OutOrStdout(), runs, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// withNewHistory is withHistory that makes a history where there is none.
func withNewHistory(c *cobra.Command, f func(*history.Store) error) error {
	folder, err := c.Flags().GetString("data")
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(folder, history.FileName)); !errors.Is(err, os.ErrNotExist) {
		return withHistory(c, f)
	}
	s, err := history.Open(folder)
	if err != nil {
		return err
	}
	defer s.Close()
	return f(s)
}

func tellBrought(out io.Writer, runs []history.Brought, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"runs": runs})
	}
	for _, line := range review.BroughtLines(runs) {
		if _, err := fmt.Fprintln(out, folded(line)); err != nil {
			return err
		}
	}
	return nil
}
