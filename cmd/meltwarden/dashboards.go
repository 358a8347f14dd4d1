package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"meltwarden/dashboards"
)

func dashboardsCommand() *cobra.Command {
	var out string
	var asJSON bool
	c := &cobra.Command{
		Use: "dashboards --out DIR", Short: "Write rules, alerts and dashboards for other servers",
		Long: "Writes what a metrics server needs to watch benches from elsewhere: rules with their\n" +
			"tests, examples of configuration, dashboards. Begin with README.md there. Nothing that\n" +
			"is there already is written over.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return writeDashboards(c.OutOrStdout(), out, asJSON) },
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	c.Flags().StringVar(&out, "out", "", "the folder to write to; it is made where it is not there")
	_ = c.MarkFlagRequired("out")
	return c
}

// writeDashboards writes all files or, where one of them is there already, none.
func writeDashboards(out io.Writer, folder string, asJSON bool) error {
	files, err := fs.Glob(dashboards.Watching, "*")
	if err != nil {
		return err
	}
	for _, name := range files {
		if _, err := os.Lstat(filepath.Join(folder, name)); err == nil {
			return fmt.Errorf("--out %s: there is %s already: name a folder without it", folder, filepath.Join(folder, name))
		}
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("--out %s: %w: name a folder that can be written to", folder, err)
	}
	if err := os.CopyFS(folder, dashboards.Watching); err != nil {
		return fmt.Errorf("--out %s: %w: see that there is room, and name a new folder", folder, err)
	}
	begin := filepath.Join(folder, "README.md")
	return outcome(out, asJSON, map[string]any{"folder": folder, "begin": begin}, "written to %s; begin with %s", folder, begin)
}
