package config_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
)

// Each text and what must come of it were written by hand.
func TestEditLayouts(t *testing.T) {
	for name, c := range map[string]struct {
		change   config.Change
		old, new string // what of oneOfEach is replaced before, and what stands there afterwards
	}{
		"a value": {config.Change{Path: "moss.setpoint", Value: "167 C"}, "    setpoint: 165 C # firm\n", "    setpoint: 167 C # firm\n"},
		"in double quotes": {config.Change{Path: "colours[1].setpoint", Value: "333 F"},
			"    setpoint:  \"165 C\"\n", "    setpoint:  \"333 F\"\n"},
		"in single quotes": {config.Change{Path: "colours[name=moss].setpoint", Value: "167 C"},
			"    setpoint: '165 C'\n", "    setpoint: '167 C'\n"},
		"over lines": {config.Change{Path: "moss.setpoint", Value: "167 C"}, "    setpoint:\n      165\n      C\n", "    setpoint:\n      167 C\n"},
		"as a block": {config.Change{Path: "moss.setpoint", Value: "167 C"}, "    setpoint: |-\n      165 C\n    # why\n", "    setpoint: 167 C\n    # why\n"},
		"as a block with blank lines": {config.Change{Path: "moss.setpoint", Value: "167 C"},
			"    setpoint: >-\n\n      165 C\n\n    # why\n", "    setpoint: 167 C\n\n    # why\n"},
		"with an escape":  {config.Change{Path: "moss.setpoint", Value: "167 C"}, "    setpoint: \"\\x3165 C\"\n", "    setpoint: \"167 C\"\n"},
		"a new key":       {config.Change{Path: "moss.band", Value: "3 C"}, "    setpoint: 165 C # firm\n", "    setpoint: 165 C # firm\n    band: 3 C\n"},
		"a new dwell":     {config.Change{Path: "moss.cure.dwell", Value: "2 min"}, "    setpoint: 165 C\n    cure: {temperature: 170 C}\n", "    setpoint: 165 C\n    cure: {temperature: 170 C, dwell: 2 min}\n"},
		"needs quotes":    {config.Change{Path: "moss.swatch", Value: "#7a8790"}, "    setpoint: 165 C\n", "    swatch: '#7a8790'\n    setpoint: 165 C\n"},
		"a section":       {config.Change{Path: "moss.flake.cut", Value: ".015 hex"}, "    setpoint: 165 C\n", "    flake: {cut: .015 hex}\n    setpoint: 165 C\n"},
		"of the file":     {config.Change{Path: "pour.draw-within", Value: "20 s"}, "    cure: {temperature: 170 C}\n", "    cure: {temperature: 170 C}\npour: {draw-within: 20 s}\n"},
		"of nothing":      {config.Change{Path: "limits.held-long", Value: "50 min"}, "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits:\n", "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits: {held-long: 50 min}\n"},
		"of null":         {config.Change{Path: "limits.held-long", Value: "50 min"}, "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits: ~ # none\n", "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits: {held-long: 50 min} # none\n"},
		"of empty braces": {config.Change{Path: "limits.held-long", Value: "50 min"}, "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits: {}\n", "    setpoint: 165 C\n    cure: {temperature: 170 C}\nlimits: {held-long: 50 min}\n"},
		"left out":        {config.Change{Path: "moss.band", Remove: true}, "    setpoint: 165 C\n    band: 3 C\n", "    setpoint: 165 C\n"},
		"but its comment": {config.Change{Path: "moss.band", Remove: true}, "    setpoint: 165 C\n    band: 3 C   # wide\n", "    setpoint: 165 C\n    # wide\n"},
		"the last of a section": {config.Change{Path: "moss.flake.cut", Remove: true},
			"    flake:\n      cut: .015 hex\n    setpoint: 165 C\n", "    setpoint: 165 C\n"},
		"out of braces": {config.Change{Path: "moss.flake.size", Remove: true},
			"    flake: {cut: .015 hex, size: 0.4 mm, amount: 1 pinch}\n    setpoint: 165 C\n", "    flake: {cut: .015 hex, amount: 1 pinch}\n    setpoint: 165 C\n"},
		"first in braces": {config.Change{Path: "moss.flake.size", Remove: true},
			"    flake: {size: 0.4 mm,\n      cut: .015 hex}\n    setpoint: 165 C\n", "    flake: {cut: .015 hex}\n    setpoint: 165 C\n"},
		"a whole section": {config.Change{Path: "moss.flake", Remove: true}, "    flake:\n      # lost with it\n      cut: .015 hex\n    setpoint: 165 C\n", "    setpoint: 165 C\n"},
		"an amount": {config.Change{Path: "moss.colourants[red]", Value: "3 drops"},
			"    colourants:\n      - {name: red, amount: 2 drops} # deep\n    setpoint: 165 C\n", "    colourants:\n      - {name: red, amount: 3 drops} # deep\n    setpoint: 165 C\n"},
		"another name": {config.Change{Path: "moss.colourants[1].name", Value: "deep: red"},
			"    colourants:\n      - {name: red, amount: 2 drops}\n    setpoint: 165 C\n", "    colourants:\n      - {name: 'deep: red', amount: 2 drops}\n    setpoint: 165 C\n"},
		"the first colourant": {config.Change{Path: "moss.colourants[red]", Value: "3 drops"},
			"    setpoint: 165 C\n", "    colourants:\n      - {name: red, amount: 3 drops}\n    setpoint: 165 C\n"},
		"one more": {config.Change{Path: "moss.colourants[name=2]", Value: "3 drops"},
			"    colourants: [{name: red, amount: 1 g}]\n    setpoint: 165 C\n", "    colourants: [{name: red, amount: 1 g}, {name: \"2\", amount: 3 drops}]\n    setpoint: 165 C\n"},
		"one less": {config.Change{Path: "moss.colourants[2]", Remove: true},
			"    colourants:\n    - name: red\n      amount: 1 g\n    - name: blue\n      amount: 1 g # strong\n    - {name: green, amount: 1 g}\n    setpoint: 165 C\n",
			"    colourants:\n    - name: red\n      amount: 1 g\n    # strong\n    - {name: green, amount: 1 g}\n    setpoint: 165 C\n"},
		"one less in brackets": {config.Change{Path: "moss.colourants[red]", Remove: true},
			"    colourants: [{name: red, amount: 1 g}, {name: blue, amount: 1 g}]\n    setpoint: 165 C\n", "    colourants: [{name: blue, amount: 1 g}]\n    setpoint: 165 C\n"},
		"none left": {config.Change{Path: "moss.colourants[red]", Remove: true},
			"    colourants:\n      - {name: red, amount: 1 g}\n    setpoint: 165 C\n", "    setpoint: 165 C\n"},
	} {
		t.Run(name, func(t *testing.T) {
			lines := strings.Count(c.old, "    setpoint: 165 C\n    cure: {temperature: 170 C}\n")
			replaced := "    setpoint: 165 C\n"
			if lines > 0 {
				replaced += "    cure: {temperature: 170 C}\n"
			} else if !strings.Contains(c.old, "setpoint") {
				replaced = "    cure: {temperature: 170 C}\n"
			}
			got, err := config.Edit([]byte(strings.Replace(oneOfEach, replaced, c.old, 1)), []config.Change{c.change})
			require.NoError(t, err)
			require.Equal(t, strings.Replace(oneOfEach, replaced, c.new, 1), string(got))
		})
	}
}

func TestEditAtTheEnds(t *testing.T) {
	const first = "name: plain\ncolours:\n  - lot: '7'\n    name: moss\n    pot: only\n    position: whole\n    base: invented base\n    volume: 250 mL\n    setpoint: 165 C\n    cure: {temperature: 170 C}"
	got, err := config.Edit([]byte(first+"\nnote: firm"), []config.Change{{Path: "moss.lot", Remove: true}, {Path: "note", Remove: true}})
	require.NoError(t, err)
	require.Equal(t, strings.Replace(first, "lot: '7'\n    ", "", 1), string(got))
	got, err = config.Edit(got, []config.Change{{Path: "limits.plate-limit", Value: "220 C"}, {Path: "limits.held-long", Value: "50 min"}, {Path: "moss.lot", Value: "é: '7'"}})
	require.NoError(t, err)
	require.Equal(t, strings.Replace(strings.Replace(first, "lot: '7'\n    ", "", 1), "base\n", "base\n    lot: 'é: ''7'''\n", 1)+
		"\nlimits: {plate-limit: 220 C, held-long: 50 min}", string(got))
}

// TestEditOfANoteKeepsComments: a note in lines of its own, before comments that end the
// file, and with one in its midst.
func TestEditOfANoteKeepsComments(t *testing.T) {
	for name, change := range map[string]config.Change{"set": {Path: "note", Value: "firm"}, "left out": {Path: "note", Remove: true}} {
		t.Run(name, func(t *testing.T) {
			const after = "# kept\n# and this\n"
			got, err := config.Edit([]byte(oneOfEach+"note: |\n\n  one\n"+after), []config.Change{change})
			require.NoError(t, err)
			require.Equal(t, oneOfEach+map[string]string{"set": "note: firm\n"}[name]+after, string(got))
			_, err = config.Edit([]byte(oneOfEach+"note: >- # why\n  one\n"), []config.Change{change})
			require.ErrorContains(t, err, "laid out in a way that only a person can change")
		})
	}
}

func TestEditRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change config.Change
		want   string
	}{
		"no colour":       {config.Change{Path: "ivry.setpoint", Value: "1"}, `recipe: ivry.setpoint: "1": "ivry" is not there; did you mean "ivory"?`},
		"no entry":        {config.Change{Path: "ivory.colourants[9].name", Value: "x"}, `recipe: ivory.colourants[9].name: "x": "9" is not there; write one of white, yellow`},
		"no colourant":    {config.Change{Path: "ivory.colourants[red].name", Value: "x"}, `recipe: ivory.colourants[red].name: "x": "red" is not there; name one that is`},
		"no way":          {config.Change{Path: "ivory..band", Value: "1"}, `recipe: ivory..band: "1": not the way to a value; write it like ivory.setpoint, colours[2].cure.dwell or pour.draw-within`},
		"no value":        {config.Change{Path: "note", Value: " "}, `recipe: note: " ": value missing; write one, or leave the key out`},
		"a section":       {config.Change{Path: "ivory.cure", Value: "172 C"}, `recipe: ivory.cure: "172 C": not one value but a section or a list; name a key in it, or leave it out first`},
		"in a value":      {config.Change{Path: "ivory.pearl.cut", Value: "x"}, `recipe: ivory.pearl.cut: "x": "pearl" is no section here; change it as a whole, or leave it out first`},
		"too deep":        {config.Change{Path: "limits.more.yet", Value: "x"}, `recipe: limits.more.yet: "x": no section "more"; write it in by hand first`},
		"nothing there":   {config.Change{Path: "ivory.lotion", Remove: true}, `recipe: ivory.lotion: not there; there is nothing to leave out`},
		"a colour":        {config.Change{Path: "colours[ivory]", Remove: true}, `recipe: colours[ivory]: only a colourant can be left out of its list; change the file by hand`},
		"hard to believe": {config.Change{Path: "ivory.setpoint", Value: "340 C"}, `recipe:38: colours[2].setpoint: "340 C": hard to believe; did you mean 340 F (171 °C)?`},
		"required":        {config.Change{Path: "name", Remove: true}, `recipe:4: name: missing; write "name: slate eel"`},
		"unknown":         {config.Change{Path: "ivory.setpont", Value: "170 C"}, `unknown key; did you mean "setpoint"?`},
		"two lines":       {config.Change{Path: "note", Value: "a\nb"}, `has a line break or a control character; write it in one line`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := config.Edit(config.DemoRecipe().Typed, []config.Change{c.change})
			require.ErrorContains(t, err, c.want)
		})
	}
	_, err := config.Edit([]byte(strings.Replace(oneOfEach, "setpoint: 165 C", "setpoint: !<tag:yaml.org,2002:str>\n      # why\n      165 C", 1)),
		[]config.Change{{Path: "moss.setpoint", Value: "166 C"}, {Path: "only", Remove: true}})
	require.EqualError(t, err, `recipe: moss.setpoint: "166 C": laid out in a way that only a person can change; write in by hand: moss.setpoint: 166 C
recipe: only: not there; there is nothing to leave out`)
}

// layout draws a recipe in some layout, every line of it with or without a comment.
type layout struct {
	t        *rapid.T
	b        strings.Builder
	comments int
}

func (l *layout) flip(label string) bool { return rapid.Bool().Draw(l.t, label) }

// line writes a line, and maybe a comment behind it and one of its own after it.
func (l *layout) line(indent int, text string) {
	l.b.WriteString(strings.Repeat(" ", indent) + text)
	l.comment(" ", "behind")
	l.b.WriteString("\n")
	if l.flip("blank") {
		l.b.WriteString("\n")
	}
	if l.comment(strings.Repeat(" ", indent), "after") {
		l.b.WriteString("\n")
	}
}

func (l *layout) comment(before, label string) bool {
	if !l.flip(label) {
		return false
	}
	l.comments++
	fmt.Fprintf(&l.b, "%s# c%d: {it's, \"so\"} - x", before, l.comments)
	return true
}

// quoted writes a value plain or in quotes.
func (l *layout) quoted(v string) string {
	switch style := rapid.IntRange(0, 2).Draw(l.t, "quotes"); {
	case style == 1:
		return "'" + strings.ReplaceAll(v, "'", "''") + "'"
	case style == 2 || strings.ContainsAny(v, "#:,{}[]\"'"):
		return fmt.Sprintf("%q", v)
	}
	return v
}

// section writes keys in any order, one a line or in braces.
func (l *layout) section(indent int, key string, pairs [][2]string) {
	if l.flip("braces") {
		l.line(indent, key+": {"+l.inLine(pairs)+"}")
		return
	}
	l.line(indent, key+":")
	for _, p := range rapid.Permutation(pairs).Draw(l.t, "order") {
		l.line(indent+2, p[0]+": "+l.quoted(p[1]))
	}
}

func (l *layout) inLine(pairs [][2]string) string {
	var all []string
	for _, p := range rapid.Permutation(pairs).Draw(l.t, "order") {
		all = append(all, p[0]+": "+l.quoted(p[1]))
	}
	return strings.Join(all, ", ")
}

func (l *layout) colour(name, pot string) {
	keys := [][2]string{
		{"pot", pot}, {"position", "back"}, {"base", "invented: base"}, {"volume", "250 mL"}, {"setpoint", "165 C"},
		{"lot", "007"}, {"scent", "2 mL, it's oil"}, {"band", "2 C"}, {"swatch", "#7a8790"}, {"order", "1"},
	}
	colourants := [][][2]string{{{"name", "red"}, {"amount", "3 drops"}}, {{"name", "blue, deep"}, {"amount", "1 g"}}, {{"name", "white"}, {"amount", "1 mL"}}}
	l.line(2, "- name: "+l.quoted(name))
	for _, k := range rapid.Permutation(append(keys, [2]string{"cure"}, [2]string{"flake"}, [2]string{"colourants"})).Draw(l.t, "order") {
		switch k[0] {
		case "cure":
			l.section(4, "cure", [][2]string{{"temperature", "172 C"}, {"dwell", "90 s"}})
		case "flake":
			l.section(4, "flake", [][2]string{{"cut", ".015 hex"}, {"size", "0.4 mm"}, {"amount", "1 pinch"}})
		case "colourants":
			if l.flip("brackets") {
				var all []string
				for _, c := range colourants {
					all = append(all, "{"+l.inLine(c)+"}")
				}
				l.line(4, "colourants: ["+strings.Join(all, ", ")+"]")
				continue
			}
			l.line(4, "colourants:")
			for _, c := range colourants {
				if l.flip("braces") {
					l.line(6, "- {"+l.inLine(c)+"}")
				} else {
					l.b.WriteString("      - " + c[0][0] + ": " + l.quoted(c[0][1]) + "\n") // a comment here goes with the entry
					l.line(8, c[1][0]+": "+l.quoted(c[1][1]))
				}
			}
		default:
			l.line(4, k[0]+": "+l.quoted(k[1]))
		}
	}
}

func drawLayout(t *rapid.T) string {
	l := &layout{t: t}
	l.line(0, "name: "+l.quoted("a: name"))
	l.line(0, "colours:")
	l.colour("moss", "left")
	l.colour("dark plum", "right")
	l.section(0, "limits", [][2]string{{"plate-limit", "220 C"}, {"held-long", "45 min"}})
	l.section(0, "ready", [][2]string{{"steady-for", "30 s"}})
	text := l.b.String()
	if l.flip("CRLF") {
		text = strings.ReplaceAll(text, "\n", "\r\n")
	}
	if l.flip("no break at the end") {
		text = strings.TrimRight(text, "\r\n")
	}
	return text
}

// editsOf are changes with what each must come to in words.
var editsOf = []struct {
	change config.Change
	want   string
}{
	{config.Change{Path: "name", Value: "another"}, "name a: name → another"},
	{config.Change{Path: "note", Value: "new: #1"}, "note not recorded → new: #1"},
	{config.Change{Path: "dark plum.setpoint", Value: "168 C"}, "dark plum: set-point 165 °C → 168 °C"},
	{config.Change{Path: "colours[1].band", Remove: true}, ""}, // 2 °C, as where nothing is said
	{config.Change{Path: "moss.band", Value: "3 C"}, "moss: band 2 °C → 3 °C"},
	{config.Change{Path: "colours[name=moss].cure.dwell", Value: "2 min"}, "moss: dwell 90 s → 120 s"},
	{config.Change{Path: "moss.cure.dwell", Remove: true}, ""},
	{config.Change{Path: "moss.volume", Value: "1 US cup"}, "moss: volume 250 mL → 1 US cup"},
	{config.Change{Path: "dark plum.softener", Value: "5 %"}, "dark plum: softener not recorded → 5 %"},
	{config.Change{Path: "moss.flake.amount", Value: "2 pinch"}, "moss: flake 1 pinch → 2 pinch"},
	{config.Change{Path: "moss.flake.size", Remove: true}, "moss: flake's size 0.4 mm → not recorded"},
	{config.Change{Path: "dark plum.swatch", Value: "#000000"}, "dark plum: swatch #7a8790 → #000000"},
	{config.Change{Path: "dark plum.swatch", Remove: true}, "dark plum: swatch #7a8790 → not recorded"},
	{config.Change{Path: "moss.lot", Remove: true}, "moss: lot 007 → not recorded"},
	{config.Change{Path: "moss.scent", Value: "it's \"new\" \\"}, "moss: scent 2 mL, it's oil → it's \"new\" \\"},
	{config.Change{Path: "limits.plate-limit", Value: "215 C"}, "limits: plate limit 220 °C → 215 °C"},
	{config.Change{Path: "limits.plate-limit", Remove: true}, "limits: plate limit 220 °C → the bench's"},
	{config.Change{Path: "ready.stir-within", Value: "3 min"}, "ready: stir within 120 s → 180 s"},
	{config.Change{Path: "pour.draw-within", Value: "20 s"}, "pour: draw within no aim → 20 s"},
	{config.Change{Path: "moss.colourants[red]", Value: "4 drops"}, "moss: colourant red 3 drops → 4 drops"},
	{config.Change{Path: "moss.colourants[2].amount", Value: "2 g"}, "moss: colourant blue, deep 1 g → 2 g"},
	{config.Change{Path: "moss.colourants[black]", Value: "1 pinch"}, "moss: colourant black 1 pinch added (last)"},
	{config.Change{Path: "moss.colourants[1]", Remove: true}, "moss: colourant red 3 drops left out"},
	{config.Change{Path: "dark plum.colourants[white]", Remove: true}, "dark plum: colourant white 1 mL left out"},
}

// Whatever the layout, a change comes to what it says and to nothing else: outside of
// one place of the text every byte stays, and so does every comment.
func TestEditChangesOnePlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := drawLayout(t)
		c := rapid.SampledFrom(editsOf).Draw(t, "change")
		old, err := config.ParseRecipe("recipe", []byte(text))
		require.NoError(t, err, text)
		got, err := config.Edit([]byte(text), []config.Change{c.change})
		require.NoError(t, err, text)
		edited, err := config.ParseRecipe("recipe", got)
		require.NoError(t, err)
		var want []string
		if c.want != "" {
			want = []string{c.want}
		}
		require.Equal(t, want, config.Differences(old, edited))
		require.Equal(t, comments(text), comments(string(got)), "of\n%s\ncame\n%s", text, got)
		requireOnePlace(t, text, string(got))
	})
}

// comments are the numbered comments of a drawn layout, each with its line's indentation
// where nothing stands before it.
func comments(text string) []string {
	var all []string
	for part := range strings.SplitSeq(text, "# c") {
		number, _, _ := strings.Cut(part, ":")
		all = append(all, number)
	}
	return all[1:]
}

// requireOnePlace: what lies between the common beginning and the common end holds no
// comment, and no more than one entry's lines.
func requireOnePlace(t require.TestingT, old, edited string) {
	from := 0
	for from < min(len(old), len(edited)) && old[from] == edited[from] {
		from++
	}
	to := 0
	for to < min(len(old), len(edited))-from && old[len(old)-1-to] == edited[len(edited)-1-to] {
		to++
	}
	for _, middle := range []string{old[from : len(old)-to], edited[from : len(edited)-to]} {
		require.Less(t, len(middle), 90, middle)
	}
}

func TestEditsFollowEachOther(t *testing.T) {
	old := config.DemoRecipe()
	text, err := config.Edit(old.Typed, []config.Change{
		{Path: "pour.mould-at-most", Remove: true}, {Path: "pour.draw-within", Remove: true}, {Path: "pour.held-at-most", Value: "40 min"},
		{Path: "ivory.colourants[white]", Value: "12 drops"}, {Path: "ivory.colourants[blue]", Value: "1 drop"}, {Path: "ivory.colourants[yellow]", Remove: true},
	})
	require.NoError(t, err)
	edited, err := config.ParseRecipe("recipe", text)
	require.NoError(t, err)
	require.Equal(t, []string{
		"ivory: colourant white 10 drops → 12 drops", "ivory: colourant yellow 1 drop left out", "ivory: colourant blue 1 drop added (last)",
		"pour: draw within 30 s → no aim", "pour: mould at most 50 °C → no aim", "pour: held at most no aim → 2400 s",
	}, config.Differences(old, edited))
	kept := slices.DeleteFunc(strings.Split(string(old.Typed), "\n"), func(line string) bool { return !strings.HasPrefix(strings.TrimSpace(line), "#") })
	for _, line := range kept {
		assert.Contains(t, string(text), line)
	}
}

func FuzzEdit(f *testing.F) {
	for _, file := range []string{"demo/recipe.yaml", fixtures + "/recipe-every-key.good.yaml", fixtures + "/promote-lines.good.yaml", fixtures + "/promote-braces.good.yaml"} {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text, "colours[1].setpoint", "166 C", false)
		f.Add(text, "colours[1].colourants[2]", "", true)
		f.Add(text, "pour.draw-within", "20 s", false)
	}
	f.Fuzz(func(t *testing.T, text []byte, path, value string, remove bool) {
		got, err := config.Edit(text, []config.Change{{Path: path, Value: value, Remove: remove}})
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = config.ParseRecipe("recipe", got)
		require.NoError(t, err)
	})
}
