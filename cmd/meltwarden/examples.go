package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/lines"
)

func examplesCommand() *cobra.Command {
	var folder string
	var asJSON bool
	c := &cobra.Command{
		Use: "examples [NAME --into FOLDER]", Short: "List example bench files, or write one to a folder",
		Long: "Lists bench files to begin with, by what the hardware does, or writes one of them with a\n" +
			"recipe to try it with. All names and figures in them are invented: replace what differs on\n" +
			"your bench. Nothing that is there already is written over.\n\n" + caution,
		Args: cobra.MaximumNArgs(1), ValidArgs: exampleNames(),
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case len(args) == 0 && folder != "":
				return fmt.Errorf("--into %s: name an example; examples alone lists them", folder)
			case len(args) == 0:
				return tellExamples(c.OutOrStdout(), asJSON)
			case folder == "":
				return fmt.Errorf("example %q: add --into and a folder to write it to", args[0])
			}
			return writeExample(c.OutOrStdout(), args[0], folder, asJSON)
		},
	}
	c.Flags().StringVar(&folder, "into", "", "folder to write to; it is made where it is not there")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	return c
}

func exampleNames() (names []cobra.Completion) {
	for _, e := range config.Examples() {
		names = append(names, cobra.CompletionWithDesc(e.Name, e.About))
	}
	return names
}

func tellExamples(out io.Writer, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"examples": config.Examples()})
	}
	for _, e := range config.Examples() {
		fmt.Fprintln(out, lines.Hang(fmt.Sprintf("%-17s ", e.Name), fmt.Sprintf("%-18s", ""), e.About))
	}
	return nil
}

// writeExample writes all files or, where one of them is there already, none.
func writeExample(out io.Writer, name, folder string, asJSON bool) error {
	files, err := config.ExampleFiles(name)
	if err != nil {
		return err
	}
	names := slices.Sorted(maps.Keys(files))
	for _, file := range names {
		if path := filepath.Join(folder, file); present(path) {
			return fmt.Errorf("--into %s: there is %s already: name a folder without it", folder, path)
		}
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("--into %s: %w: name a folder that can be written to", folder, err)
	}
	for _, file := range names {
		if err := writeNew(filepath.Join(folder, file), files[file]); err != nil {
			return fmt.Errorf("--into %s: %w", folder, err)
		}
	}
	bench := filepath.Join(folder, "bench.yaml")
	return outcome(out, asJSON, map[string]any{"folder": folder, "bench": bench, "files": names},
		"%s: set its port, then: meltwarden check --config %s", bench, bench)
}

func present(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}
