package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// recipeSource is a recipe that a command was given: a file, or a version that is kept.
type recipeSource struct {
	*config.Recipe
	kept  history.Version // zero for a file
	store *history.Store  // nil for a file
}

// withRecipe opens the recipe of a name: a file's, or that of a kept version such as v2,
// "slate eel v2" or the beginning of a fingerprint.
func withRecipe(c *cobra.Command, name string, f func(recipeSource) error) error {
	if _, err := os.Stat(name); err == nil {
		r, err := config.LoadRecipe(name)
		if err != nil {
			return err
		}
		return f(recipeSource{Recipe: r})
	}
	return withHistory(c, func(s *history.Store) error {
		v, err := versionLike(s, name)
		if err != nil {
			return err
		}
		r, err := parsed(v)
		if err != nil {
			return err
		}
		return f(recipeSource{r, v, s})
	})
}

// parsed is the recipe of a kept version. Its text has to be what its fingerprint says: a
// version can have come in an archive that somebody else wrote, and a pot is heated by it.
func parsed(v history.Version) (*config.Recipe, error) {
	r, err := config.ParseRecipe("recipe version "+v.Fingerprint, []byte(v.Source))
	if err == nil && r.Fingerprint() != v.Fingerprint {
		return nil, fmt.Errorf("recipe version %s: its text is another one's (%s), so something else wrote it; use a recipe file", v.Fingerprint, r.Fingerprint())
	}
	return r, err
}

// writeAs writes a changed text of the recipe to a new file and says what differs. What
// came from a kept version is kept as one made from it.
func (s recipeSource) writeAs(out io.Writer, text []byte, path string, asJSON bool) error {
	after, err := config.ParseRecipe(path, text)
	if err != nil {
		return err
	}
	if after.Fingerprint() == s.Fingerprint() {
		return fmt.Errorf("--out %s: not written: nothing that counts would differ", path)
	}
	if err := checkNew(path); err != nil {
		return err
	}
	name := after.Name
	if s.store != nil {
		kept, err := s.store.KeepVersion(time.Now(), history.Version{
			Name: after.Name, Fingerprint: after.Fingerprint(), Source: string(text), Parent: s.kept.Fingerprint,
		})
		if err != nil {
			return err
		}
		name = fmt.Sprintf("%s v%d", kept.Name, kept.Number)
	}
	if err := writeNew(path, text); err != nil {
		return err
	}
	different := config.Differences(s.Recipe, after)
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"file": path, "recipe": name, "fingerprint": after.Fingerprint(), "differences": append([]string{}, different...)})
	}
	fmt.Fprintf(out, "%s: %s (%s)\n", path, name, after.Fingerprint())
	return tellDifferences(out, different)
}

// recipeNamed is the recipe of a name in a data folder: a file's, or a kept version's.
func recipeNamed(data, name string) (*config.Recipe, error) {
	if _, err := os.Stat(name); err == nil {
		return config.LoadRecipe(name)
	}
	s, err := history.OpenExisting(data)
	if err != nil {
		return config.LoadRecipe(name) // says that there is no such file
	}
	defer s.Close()
	v, err := versionLike(s, name)
	if err != nil {
		return nil, fmt.Errorf("--recipe %q: no such file, and no version that is kept in %s: %w", name, data, err)
	}
	return parsed(v)
}
