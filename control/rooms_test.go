package control_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "meltwarden/"

// sources parses every Go file under a folder that is no test, whatever it is
// built for; a folder that is not there has none.
func sources(t *testing.T, root, folder string) map[string]*ast.File {
	t.Helper()
	files := map[string]*ast.File{}
	at := filepath.Join(root, folder)
	if _, err := os.Stat(at); os.IsNotExist(err) {
		return files
	}
	require.NoError(t, filepath.WalkDir(at, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		rel, _ := filepath.Rel(root, name)
		files[filepath.ToSlash(rel)] = file
		return err
	}))
	return files
}

func imports(f *ast.File) []string {
	var paths []string
	for _, spec := range f.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		paths = append(paths, p)
	}
	return paths
}

// madeApart is the one folder with rules of its own inside another room.
const madeApart = "dashboards/make"

// rooms says what each room may import of ours, besides itself.
var rooms = []struct {
	folder, why string
	may         []string
}{
	{"control", "decisions rest on nothing outside, so that they replay", nil},
	{"devices", "a device decides nothing; it only needs the words of control", []string{"control"}},
	{"config", "a configuration is values, and the words of registers and adapters that a bench file is written in", []string{"control", "devices/registers", "devices/ports"}},
	{"dashboards", "what is shown rests on the API alone", nil},
	{madeApart, "it writes the guard's own words into alerts, and is no part of the program", []string{"control"}},
	{"daemon", "the daemon joins the rooms, and nothing joins the daemon but the command line", []string{"config", "devices", "control", "dashboards"}},
}

func under(p, folder string) bool { return p == folder || strings.HasPrefix(p, folder+"/") }

// straysInto returns the imports of ours that a room may not have.
func straysInto(folder string, may []string, f *ast.File) (strays []string) {
next:
	for _, p := range imports(f) {
		ours, is := strings.CutPrefix(p, module)
		if !is || under(ours, folder) {
			continue
		}
		for _, m := range may {
			if under(ours, m) {
				continue next
			}
		}
		strays = append(strays, ours)
	}
	return strays
}

func TestRoomsImportOnlyWhatTheyMay(t *testing.T) {
	for _, room := range rooms {
		files := sources(t, "..", room.folder)
		fmt.Printf("%-10s %3d files\n", room.folder, len(files))
		for name, f := range files {
			if room.folder != madeApart && under(name, madeApart) {
				continue
			}
			assert.Empty(t, straysInto(room.folder, room.may, f), "%s: %s may import of ours %v only: %s", name, room.folder, room.may, room.why)
		}
	}
}

// pureImports are what control may import of others. Nothing in them reads a
// clock, a file or the net, or writes anywhere: fmt prints, so it is not here.
var pureImports = map[string]bool{
	"cmp": true, "errors": true, "math": true, "math/cmplx": true, "slices": true, "sort": true, "strconv": true, "strings": true, "time": true,
}

// pureTime is what control may use of package time: lengths of time, no clock.
var pureTime = map[string]bool{
	"Duration": true, "Nanosecond": true, "Microsecond": true, "Millisecond": true,
	"Second": true, "Minute": true, "Hour": true,
}

// impurities returns what in a file could make the same inputs come to other outputs.
func impurities(f *ast.File) (found []string) {
	for _, spec := range f.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		if !pureImports[p] && !under(p, module+"control") {
			found = append(found, "imports "+p)
		}
		if spec.Name != nil {
			found = append(found, "renames "+p) // so that "time." is always what it seems
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			found = append(found, "starts a goroutine")
		case *ast.SelectStmt:
			found = append(found, "waits in a select")
		case *ast.ChanType:
			found = append(found, "has a channel")
		case *ast.MapType:
			found = append(found, "has a map, whose order is random")
		case *ast.SelectorExpr:
			if x, is := n.X.(*ast.Ident); is && x.Name == "time" && !pureTime[n.Sel.Name] {
				found = append(found, "uses time."+n.Sel.Name)
			}
		case *ast.CallExpr:
			if x, is := n.Fun.(*ast.Ident); is && (x.Name == "print" || x.Name == "println") {
				found = append(found, "prints")
			}
		}
		return true
	})
	return found
}

// TestControlIsPure: no I/O, no clock, no goroutine, no randomness, no logging;
// time is an argument. What judges the loops may draw its pots and noise from a
// seeded source that it is given: it decides nothing.
func TestControlIsPure(t *testing.T) {
	files := sources(t, "..", "control")
	packages := map[string]bool{}
	for name, f := range files {
		packages[path.Dir(name)] = true
		found := impurities(f)
		if under(path.Dir(name), judge) {
			found = slices.DeleteFunc(found, func(s string) bool { return s == "imports math/rand/v2" })
		}
		assert.Empty(t, found, "%s: the same inputs must come to the same outputs, whenever and wherever", name)
	}
	for _, p := range []string{"control", "control/guard", "control/pid", "control/cascade", "control/circuit", "control/call", "control/estimate", "control/reading", "control/judge/zoo"} {
		assert.True(t, packages[p], "%s was not looked at", p)
	}
}

// judge is what judges the loops, with pots that are simulated.
const judge = "control/judge"

// TestOnlyTestsAreJudged: no part of the program rests on a simulated pot.
func TestOnlyTestsAreJudged(t *testing.T) {
	for _, folder := range []string{"cmd", "config", "control", "daemon", "dashboards", "devices"} {
		for name, f := range sources(t, "..", folder) {
			if !under(path.Dir(name), judge) {
				assert.False(t, judges(f), "%s: %s is for tests only", name, judge)
			}
		}
	}
}

func judges(f *ast.File) bool {
	return slices.ContainsFunc(imports(f), func(p string) bool { return under(p, module+judge) })
}

// TestTheRulesRefuse: a rule that nothing can break shows nothing.
func TestTheRulesRefuse(t *testing.T) {
	parse := func(source string) *ast.File {
		f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\n"+source, parser.SkipObjectResolution)
		require.NoError(t, err)
		return f
	}
	for source, want := range map[string][]string{
		`import ("math"; "time"; "meltwarden/control/guard"); const d = 2 * time.Second`: nil,
		`import "os"`:                                              {"imports os"},
		`import "math/rand/v2"`:                                    {"imports math/rand/v2"},
		`import "log/slog"`:                                        {"imports log/slog"},
		`import "meltwarden/devices"`:                              {"imports meltwarden/devices"},
		`import "meltwarden/controls"`:                             {"imports meltwarden/controls"},
		`import "C"`:                                               {"imports C"},
		`import t "time"; var x = t.Now()`:                         {"renames time"},
		`import . "time"; var x = Now()`:                           {"renames time"},
		`import "time"; var x = time.Now()`:                        {"uses time.Now"},
		`import "time"; func f() { time.Sleep(1) }`:                {"uses time.Sleep"},
		`import "time"; func f() { <-time.After(1) }`:              {"uses time.After"},
		`import "time"; func f(t time.Time) { time.Since(t) }`:     {"uses time.Time", "uses time.Since"},
		`import "time"; var x, y = time.NewTimer(1), time.Tick(1)`: {"uses time.NewTimer", "uses time.Tick"},
		`func f() { go f() }`:                                      {"starts a goroutine"},
		`func f() { select {} }`:                                   {"waits in a select"},
		`var c chan int`:                                           {"has a channel"},
		`var m map[int]int`:                                        {"has a map, whose order is random"},
		`func f() { println(1) }`:                                  {"prints"},
	} {
		assert.Equal(t, want, impurities(parse(source)), source)
	}
	assert.True(t, judges(parse(`import "meltwarden/control/judge/zoo"`)))
	assert.False(t, judges(parse(`import "meltwarden/control/judgement"`)))
	f := parse(`import ("meltwarden/control/guard"; "meltwarden/devices/modbus"; "meltwarden/daemon"; "os")`)
	assert.Equal(t, []string{"daemon"}, straysInto("devices", []string{"control"}, f))
	assert.Equal(t, []string{"devices/modbus", "daemon"}, straysInto("config", []string{"control", "devices/registers"}, f))
	assert.Equal(t, []string{"control/guard", "devices/modbus", "daemon"}, straysInto("dashboards", nil, f))
}
