package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/review"
)

func recipesCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "recipes", Short: "List the recipe versions that runs were made with",
		Long: "A recipe version never changes: an edited file is a new version. A run keeps the\none it used, and what was changed at the bench.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withHistory(c, func(s *history.Store) error {
				versions, err := s.Made()
				if err != nil {
					return err
				}
				return tellVersions(c.OutOrStdout(), versions, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	c.AddCommand(recipeTextCommand(), recipeDiffCommand(), recipeEditCommand(), recipeScaleCommand(), recipeContrastCommand())
	return c
}

func tellVersions(out io.Writer, versions []history.Made, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"recipes": versions})
	}
	table := lines.Table{}
	table.Row("recipe", "version", "fingerprint", "first kept", "runs", "shots", "made from")
	for _, v := range versions {
		table.Row(v.Name, fmt.Sprintf("v%d", v.Number), v.Fingerprint, v.Added.Format(time.DateOnly), fmt.Sprint(v.Runs),
			fmt.Sprintf("%d, %d clean", v.Shots, v.Clean), origin(v.Version))
	}
	_, err := fmt.Fprint(out, table.String())
	return err
}

func origin(v history.Version) string {
	switch {
	case v.FromRun != 0:
		return fmt.Sprintf("run %d", v.FromRun)
	case v.Parent != "":
		return v.Parent
	}
	return "–"
}

func recipeTextCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "text VERSION", Short: "Print a recipe version as it was typed", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withHistory(c, func(s *history.Store) error {
				v, err := versionLike(s, args[0])
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"recipe": v})
				}
				_, err = io.WriteString(c.OutOrStdout(), v.Source)
				return err
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object, with the text as source")
	dataFlag(c)
	return c
}

func recipeDiffCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "diff FROM TO", Short: "Say in words what differs between two versions or files", Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			return withHistory(c, func(s *history.Store) error {
				from, err := readVersion(s, args[0])
				if err != nil {
					return err
				}
				to, err := readVersion(s, args[1])
				if err != nil {
					return err
				}
				different := config.Differences(from, to)
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{
						"from": from.Fingerprint(), "to": to.Fingerprint(), "differences": append([]string{}, different...),
					})
				}
				return tellDifferences(c.OutOrStdout(), different)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellDifferences(out io.Writer, lines []string) error {
	if len(lines) == 0 {
		lines = []string{"no difference"}
	}
	_, err := fmt.Fprintln(out, strings.Join(lines, "\n"))
	return err
}

// versionLike is the version whose fingerprint begins so, or that the list calls
// so: "v2", "2", or "slate eel v2".
func versionLike(s *history.Store, start string) (history.Version, error) {
	all, err := s.Versions()
	if err != nil {
		return history.Version{}, err
	}
	var found []history.Version
	for _, v := range all {
		number := strconv.Itoa(v.Number)
		if slices.Contains([]string{number, "v" + number, v.Name + " v" + number}, start) ||
			len(start) >= leastFingerprint && strings.HasPrefix(v.Fingerprint, start) {
			found = append(found, v)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return history.Version{}, fmt.Errorf("recipe version %q: %w", start, history.ErrNoVersion)
	}
	return history.Version{}, fmt.Errorf("recipe version %q: %d are called so; write the recipe's name before it, or the fingerprint", start, len(found))
}

// leastFingerprint is how much of a fingerprint names a version.
const leastFingerprint = 4

// readVersion reads a kept version, or a recipe file.
func readVersion(s *history.Store, start string) (*config.Recipe, error) {
	if _, err := os.Stat(start); err == nil {
		return config.LoadRecipe(start)
	}
	v, err := versionLike(s, start)
	if err != nil {
		return nil, err
	}
	return config.ParseRecipe("recipe version "+v.Fingerprint, []byte(v.Source))
}

func promoteCommand() *cobra.Command {
	var out string
	var asJSON bool
	c := &cobra.Command{
		Use: "promote RUN --out FILE", Short: "Write a run's recipe, with its changes, as a new version",
		Long: "Writes the recipe of a run, with what was changed at the bench in it, to a new file, and keeps it as a new version. What a recipe can not hold is named.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error { return promote(c.OutOrStdout(), s, run, out, asJSON) })
		},
	}
	c.Flags().StringVar(&out, "out", "", "the recipe file to write; it must not exist yet")
	_ = c.MarkFlagRequired("out") // the flag exists: it was made above
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func promote(out io.Writer, s *history.Store, run int64, path string, asJSON bool) error {
	r, err := review.Of(s, run)
	if err != nil {
		return err
	}
	text, err := config.Promote([]byte(r.Recipe.Source), r.Deviations())
	if err != nil {
		return err
	}
	before, err := config.ParseRecipe("recipe version "+r.Recipe.Fingerprint, []byte(r.Recipe.Source))
	if err != nil {
		return err
	}
	after, err := config.ParseRecipe(path, text)
	if err != nil {
		return err
	}
	if err := checkNew(path); err != nil {
		return err
	}
	kept, err := s.KeepVersion(time.Now(), history.Version{
		Name: after.Name, Fingerprint: after.Fingerprint(), Source: string(text), Parent: r.Recipe.Fingerprint, FromRun: run,
	})
	if err != nil {
		return err
	}
	if err := writeNew(path, text); err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{
			"file": path, "recipe": kept, "differences": append([]string{}, config.Differences(before, after)...), "left_out": append([]string{}, r.LeftOut()...),
		})
	}
	fmt.Fprintf(out, "%s: %s v%d (%s), made from run %d\n", path, kept.Name, kept.Number, kept.Fingerprint, run)
	for _, l := range r.LeftOut() {
		fmt.Fprintf(out, "left out: %s\n", l)
	}
	return tellDifferences(out, config.Differences(before, after))
}

// checkNew refuses a name that is taken before anything is kept.
func checkNew(path string) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("--out %s: exists already; choose a new name", path)
	}
	return nil
}

// writeNew writes a file that must not exist yet: a recipe may be a maker's only
// copy.
func writeNew(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("--out %s: exists already; choose a new name", path)
	}
	if err != nil {
		return err
	}
	if _, err := f.Write(text); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}
