package assemble

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Answers are what was answered so far, by the keys of the questions.
type Answers map[string]string

// DraftOf is the file in which the answers for a bench file are kept until that is written.
func DraftOf(benchFile string) string { return benchFile + ".draft" }

const draftHead = `# The answers so far for %s. The same command goes on from here:
#   meltwarden commission --config %s
# What is changed here counts; what is taken out is asked again.
`

// write puts the answers into a draft, each below what was asked, in the order of asking;
// what is not asked any more comes last.
func (a Answers) write(draft, benchFile string, asked []Question) error {
	var text strings.Builder
	fmt.Fprintf(&text, draftHead, benchFile, benchFile)
	left := maps.Clone(a)
	for _, q := range asked {
		if answer, is := left[q.Key]; is {
			fmt.Fprintf(&text, "\n# %s\n%s: %q\n", q.Ask, q.Key, answer)
			delete(left, q.Key)
		}
	}
	if len(left) > 0 {
		text.WriteString("\n# Found out, or of no use at present:\n")
	}
	for _, key := range slices.Sorted(maps.Keys(left)) {
		fmt.Fprintf(&text, "%s: %q\n", key, left[key])
	}
	return replace(draft, text.String())
}

// replace writes a file whole or not at all.
func replace(path, text string) error {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// readDraft reads a draft; where there is none, nothing is answered.
func readDraft(draft string) (Answers, error) {
	text, err := os.ReadFile(draft)
	if errors.Is(err, fs.ErrNotExist) {
		return Answers{}, nil
	}
	a := Answers{}
	if err == nil {
		err = yaml.Unmarshal(text, &a)
	}
	if err != nil {
		return nil, fmt.Errorf("draft %s: can not be read: %w: mend it, or remove it and begin again", draft, err)
	}
	return a, nil
}
