package config

import (
	"embed"
	"fmt"
	"io/fs"
	"slices"
	"strings"
)

//go:embed examples
var examples embed.FS

// Example is a bench file to begin with. What stands in it is invented.
type Example struct {
	Name  string `json:"name"`
	About string `json:"about"`
	// Page is the file beside it that says what its hardware must do, or "".
	Page string `json:"page,omitempty"`
}

// Examples are those that there are.
func Examples() []Example {
	const board = "board.md"
	return []Example{
		{"relays", "an eight-channel thermocouple module, and a relay module with inputs; heat by switch", ""},
		{"controllers", "three panel controllers that hold their plates, a thermocouple module, and a relay module with inputs; heat by set-point", ""},
		{"board", "a board of your own with the register map of " + board + ", in degrees; heat by duty", board},
		{"board-millivolts", "the same board, in millivolts with its cold junction; heat by duty", board},
	}
}

// ExampleFiles are the files of an example: bench.yaml, the recipe that it names and its page, by the names
// that they are to have. The error names the examples that there are.
func ExampleFiles(name string) (map[string][]byte, error) {
	all := Examples()
	i := slices.IndexFunc(all, func(e Example) bool { return e.Name == name })
	if i < 0 {
		var known []string
		for _, e := range all {
			known = append(known, e.Name)
		}
		return nil, fmt.Errorf("example %q: there is none of this name; write one of %s", name, strings.Join(known, ", "))
	}
	files := map[string][]byte{}
	for as, file := range map[string]string{"bench.yaml": name + ".yaml", "recipe.yaml": "recipe.yaml", all[i].Page: all[i].Page} {
		if file == "" {
			continue
		}
		text, err := fs.ReadFile(examples, "examples/"+file)
		if err != nil {
			return nil, err // a test reads them all
		}
		files[as] = text
	}
	return files, nil
}
