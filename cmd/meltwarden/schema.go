package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
)

func schemaCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "schema", Short: "Say what is in the history's file, for other tools",
		Long: "The history is one SQLite file, " + history.FileName + " in the data folder. Any tool that reads\n" +
			"SQLite can open it, also while it is written to. Read the views: their columns have\ntheir units in their names, and NULL is what was not recorded. Change nothing there.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return tellSchema(c.OutOrStdout(), history.Described(), asJSON)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	return c
}

func tellSchema(out io.Writer, all []history.Relation, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"relations": all})
	}
	for i, r := range all {
		kind := "table"
		if r.View {
			kind = "view"
		}
		if i > 0 {
			fmt.Fprintln(out)
		}
		fmt.Fprintln(out, lines.Hang("", "  ", fmt.Sprintf("%s %s: %s", kind, r.Name, r.About)))
		wide := 0
		for _, c := range r.Columns {
			wide = max(wide, len(c.Name))
		}
		for _, c := range r.Columns {
			about := c.About
			switch {
			case about == "":
				about = c.Unit
			case c.Unit != "":
				about = c.Unit + "; " + about
			}
			row := lines.Hang(fmt.Sprintf("  %-*s  ", wide, c.Name), strings.Repeat(" ", wide+4), about)
			if _, err := fmt.Fprintln(out, strings.TrimRight(row, " ")); err != nil {
				return err
			}
		}
	}
	return nil
}
