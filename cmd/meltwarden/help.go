package main

import (
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"meltwarden/daemon/lines"
)

// guide is what a command's help says beside what it does: how it may be written, and what
// its end means where that is not what every command's means.
type guide struct {
	examples []string
	ends     string
}

// usual is the exit status of most commands.
const usual = "0 when it did what was asked, else 1, and the standard error says why."

// guides are those of every command, by its name.
var guides = map[string]guide{
	"demo": {[]string{"demo", "demo --speed 1 --seed 7", "demo --until-ready --json"},
		"0 after an end that was asked for; with --until-ready 1 where a pot tripped or was not ready within an hour of bench time."},
	"serve": {[]string{"serve --config bench.yaml", `serve --config bench.yaml --recipe "slate eel v3"`}, "0 after an end that was asked for, with the heaters told zero, else 1."},
	"check": {[]string{"check --config bench.yaml", "check --config bench.yaml --json", "check --config bench.yaml --watch"}, "0 when every channel answered as it should, else 1; with --watch 0 when left."},
	"scan": {[]string{"scan --port /dev/ttyUSB0", "scan --port /dev/ttyUSB0 --baud 9600,19200 --units 1-32", "scan --port COM3 --wait 500ms --json"},
		"0 when something answered, else 1, and the standard error says why."},
	"commission": {[]string{"commission --config bench.yaml", "commission --config bench.yaml --status"},
		"0 when it did what was asked; with --status when all that heat needs is on record and holds. Else 1, and the standard error says why."},
	"calibrate": {[]string{"calibrate --config bench.yaml", `calibrate --config bench.yaml ice "boiling at 985 hPa"`, "calibrate --config bench.yaml accept", "calibrate --config bench.yaml --status", `calibrate --config bench.yaml --take-back "melt left"`},
		"0 when every point was taken and all was put in force that was to be, else 1."},
	"first-heat": {[]string{"first-heat --config bench.yaml", `first-heat --config bench.yaml --recipe "slate eel v2"`, "first-heat --config bench.yaml --status"},
		"0 when every pot came to its end, whether something is kept of it or not, else 1, and the standard error says why."},
	"watch":             {[]string{"watch", "watch --to 192.0.2.7:8420 --config bench.yaml", "watch --once", "watch --json"}, "0 when left; with --once 0 is ready to pour, 1 not ready, and 2 not live."},
	"runs":              {[]string{"runs", "runs --spoiled --fault bled", "runs clamp --since 2026-01-31", "runs --reinspect"}, ""},
	"find":              {[]string{"find eel bled", `find "demo lot" --json`}, ""},
	"review":            {[]string{"review 7", "review 7 --shot 1 --fahrenheit", "review 7 --out run.png --from 20m --to 40m", "review 7 --out over.svg --beside 6 --align ready"}, ""},
	"causes":            {[]string{"causes", `causes --fault bled --recipe "slate eel"`}, ""},
	"verdict":           {[]string{"verdict 7 1 clean", "verdict 7 1 bled --colour ivory --colour rust --day 3"}, ""},
	"try":               {[]string{"try 7 1", "try 7 1 --accept --choice 1 --out eel-3.yaml"}, ""},
	"attempts":          {[]string{"attempts", `attempts --end 1 --why "the mould was changed"`}, ""},
	"recipes":           {[]string{"recipes", "recipes --json"}, ""},
	"recipes text":      {[]string{"recipes text v2", `recipes text "slate eel v2"`}, ""},
	"recipes diff":      {[]string{"recipes diff v1 v2", "recipes diff v2 recipe.yaml"}, ""},
	"recipes edit":      {[]string{"recipes edit v2 --set 'ivory.setpoint=169 C' --out eel-3.yaml"}, ""},
	"recipes scale":     {[]string{"recipes scale v2 --times 1.5", "recipes scale v2 --shots 12 --per-shot 18mL --out more.yaml"}, ""},
	"recipes contrast":  {[]string{"recipes contrast v2", "recipes contrast recipe.yaml"}, ""},
	"promote":           {[]string{"promote 7 --out eel-3.yaml"}, ""},
	"why":               {[]string{"why 7 1", "why 7 1 --beside 5/2"}, ""},
	"report":            {[]string{"report 7 --out why.html", "report 7 --shot 1 --out why.html"}, ""},
	"estimate injector": {[]string{`estimate injector --preheat "60 C" --after 10s`}, ""},
	"estimate mould":    {[]string{`estimate mould --thickness "10 mm" --after "90 s"`}, ""},
	"estimate seam":     {[]string{"estimate seam"}, ""},
	"estimate contact":  {[]string{"estimate contact --fahrenheit"}, ""},
	"estimate warming":  {[]string{"estimate warming --json"}, ""},
	"estimate flow":     {[]string{"estimate flow"}, ""},
	"batches":           {[]string{"batches", "batches --json"}, ""},
	"batches show":      {[]string{"batches show 1"}, ""},
	"batches set":       {[]string{"batches set 8 ivory 2", "batches set 8 2 new"}, ""},
	"batches correct":   {[]string{`batches correct 2 --lot "lot 5" --made "260 mL"`}, ""},
	"replay":            {[]string{"replay 7"}, "0 when every cycle is decided as it was, 1 when one is not or can not be replayed."},
	"export":            {[]string{"export 7 > run.csv", "export 7 --as json", "export 7 8 --as archive --out runs.sqlite"}, ""},
	"import":            {[]string{"import runs.sqlite"}, ""},
	"backup":            {[]string{"backup copy.sqlite"}, ""},
	"tidy":              {[]string{`tidy --older-than "365 days" --dry-run`}, ""},
	"phone add":         {[]string{"phone add blue", `phone add blue --for "6 h"`, "phone add blue --json"}, ""},
	"phone list":        {[]string{"phone list", "phone list --json"}, ""},
	"phone put-out":     {[]string{"phone put-out blue", "phone put-out 2"}, ""},
	"photo":             {[]string{"photo 7 1 bait.jpg", "photo 7 1", "photo 7 1 --number 2 --out bait.jpg"}, ""},
	"plan":              {[]string{"plan recipe.yaml --config bench.yaml --ready-at 20:00", `plan v2 --config bench.yaml --room "19 C"`}, ""},
	"checks":            {[]string{"checks", "checks --tick dry,mould", "checks --all"}, ""},
	"examples":          {[]string{"examples", "examples relays --into bench", "examples board --into bench"}, ""},
	"registers":         {[]string{"registers --port COM5 --unit 1", `registers --port COM5 --unit 1 --probe "melt left" --probe mould`, "registers --port COM5 --unit 2 --contact e-stop --contact enable", "registers --port COM5 --unit 3 --baud 9600 --from 40 --json"}, "0 when it was read and ended, recognised or not, else 1."},
	"dashboards":        {[]string{"dashboards --out watching"}, ""},
	"ports":             {[]string{"ports", "ports --json"}, ""},
	"schema":            {[]string{"schema", "schema --json"}, ""},
	"api":               {[]string{"api", "api --openapi > meltwarden.json"}, ""},
	"service":           {[]string{"service > /etc/systemd/system/meltwarden.service"}, ""},
	"completion":        {[]string{"source <(meltwarden completion bash)", "completion fish > ~/.config/fish/completions/meltwarden.fish"}, ""},
	"version":           {[]string{"version", "version --json"}, ""},
}

// hangs gives the template what puts a command's words beside its name: once, because
// cobra keeps one table for all.
var hangs = sync.OnceFunc(func() {
	cobra.AddTemplateFunc("hang", func(name string, wide int, short string) string {
		return lines.Hang("  "+name+strings.Repeat(" ", wide-len(name)+1), strings.Repeat(" ", wide+3), short)
	})
})

// helpfully lays out the help of every command for a terminal of 80 columns.
func helpfully(root *cobra.Command) {
	root.SetUsageTemplate(usage)
	hangs()
	for _, c := range all(root) {
		name := strings.TrimPrefix(c.CommandPath(), root.Name()+" ")
		if t, is := guides[name]; is {
			for _, e := range t.examples {
				if !strings.Contains(e, root.Name()+" ") {
					e = root.Name() + " " + e
				}
				c.Example += "  " + e + "\n"
			}
			c.Annotations = map[string]string{"ends": lines.Wrap("  ", orUsual(t.ends))}
		}
		c.Long = reflowed(c.Long)
	}
}

func orUsual(ends string) string {
	if ends == "" {
		return usual
	}
	return ends
}

// reflowed breaks paragraphs for the width of a terminal. A line that stands in, or begins
// with a dash, begins a paragraph of its own.
func reflowed(text string) string {
	var all []string
	for _, paragraph := range strings.Split(text, "\n\n") {
		var own []string
		for _, line := range strings.Split(paragraph, "\n") {
			if len(own) == 0 || strings.HasPrefix(line, "- ") || strings.HasPrefix(line, " ") {
				own = append(own, line)
				continue
			}
			own[len(own)-1] += " " + line
		}
		for i, line := range own {
			own[i] = lines.Wrap("", line)
		}
		all = append(all, strings.Join(own, "\n"))
	}
	return strings.Join(all, "\n\n")
}

// usage is how a command is written, in at most 79 columns.
const usage = `Usage:{{if .Runnable}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} COMMAND{{end}}{{if .HasExample}}

Examples:
{{.Example | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

Commands:{{range .Commands}}{{if .IsAvailableCommand}}
{{hang .Name .NamePadding .Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsagesWrapped 79 | trimTrailingWhitespaces}}{{end}}{{with index .Annotations "ends"}}

Exit status:
{{.}}{{end}}{{if .HasAvailableSubCommands}}

{{.CommandPath}} COMMAND --help tells more of a command.{{end}}
`
