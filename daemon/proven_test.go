package daemon

import (
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestHeatersAreProvenInOnePlace lists who makes a heater count as proven, and who
// may say so: by setting HeatersProven, by asking the simulated bench, by making a
// Clearance. Whatever is added here has to be thought over by a person.
func TestHeatersAreProvenInOnePlace(t *testing.T) {
	found := map[string][]string{}
	note := func(what, file string) { found[what] = append(found[what], file) }
	require.NoError(t, fs.WalkDir(os.DirFS(".."), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(gotoken.NewFileSet(), filepath.Join("..", path), nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			for _, what := range claims(n) {
				note(what, path)
			}
			return true
		})
		return nil
	}))
	require.Equal(t, map[string][]string{
		"sets HeatersProven": {"daemon/daemon.go", "daemon/demo/past.go", "daemon/plan/rehearsal.go"}, // the others: simulated pots, without a line
		"asks ProvesTimeout": {"daemon/daemon.go", "daemon/demo/past.go"},
		"gives Commissioned": {"cmd/meltwarden/first_heat.go", "cmd/meltwarden/serve.go", "daemon/firstheat/firstheat.go"}, // what asks Against had cleared
		"asks Against":       {"cmd/meltwarden/serve.go", "daemon/commission/session.go", "daemon/commission/status.go"},
	}, found)
}

// claims names what a piece of code does to the proof of the heaters.
func claims(n ast.Node) []string {
	switch n := n.(type) {
	case *ast.AssignStmt:
		for _, left := range n.Lhs {
			if s, ok := left.(*ast.SelectorExpr); ok && s.Sel.Name == "HeatersProven" {
				return []string{"sets HeatersProven"}
			}
		}
	case *ast.KeyValueExpr:
		key, _ := n.Key.(*ast.Ident)
		switch {
		case key == nil:
		case key.Name == "HeatersProven":
			return []string{"sets HeatersProven"}
		case key.Name == "Commissioned":
			return []string{"gives Commissioned"}
		}
	case *ast.CallExpr:
		if s, ok := n.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "ProvesTimeout" || s.Sel.Name == "Against") {
			return []string{"asks " + s.Sel.Name}
		}
	}
	return nil
}
