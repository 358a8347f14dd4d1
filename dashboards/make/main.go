// Command make writes those files of the folder it is run in that are made from code: the
// alerts of the guard's findings with their tests, and the dashboards. It is run by
// `go generate`, and a test says when a file is not what it would write. It is no part of
// the program.
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	all, err := files()
	for name, text := range all {
		if err == nil {
			err = os.WriteFile(filepath.FromSlash(name), text, 0o644)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "make:", err)
		os.Exit(1)
	}
}

// made is every file that is made here, and how.
var made = map[string]func() ([]byte, error){
	"prometheus/findings.rules.yaml": findingRules,
	"prometheus/findings.test.yaml":  findingCases,
	"grafana/bench.json":             benchBoard,
	"grafana/shop.json":              shopBoard,
}

// files are the texts of what is made, by their names in the folder.
func files() (map[string][]byte, error) {
	all := map[string][]byte{}
	for name, write := range made {
		text, err := write()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		all[name] = text
	}
	return all, nil
}
