package main

import (
	"cmp"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

func completionCommand() *cobra.Command {
	shells := []string{"bash", "zsh", "fish", "powershell"}
	return &cobra.Command{
		Use: "completion SHELL", Short: "Print what makes a shell complete this program's words",
		Long: "Prints what a shell needs to complete the commands, their flags, and numbers, versions, faults and " +
			"colours from the data folder: for bash, zsh, fish or powershell. Bash needs its package bash-completion.",
		Args: cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs), ValidArgs: shells,
		RunE: func(c *cobra.Command, args []string) error {
			out := c.OutOrStdout()
			switch args[0] {
			case "bash":
				return c.Root().GenBashCompletionV2(out, true)
			case "zsh":
				return c.Root().GenZshCompletion(out)
			case "fish":
				return c.Root().GenFishCompletion(out, true)
			}
			return c.Root().GenPowerShellCompletionWithDesc(out)
		},
	}
}

// words are what may stand at a place of a command line, after what stands there already. It
// is asked while somebody types: what can not be found out is nothing, and nothing that is
// kept is changed.
type words func(s *history.Store, args []string) []cobra.Completion

// complete has every command offer what may stand in it.
func complete(root *cobra.Command) {
	arguments := map[string][]words{
		"review": {runNumbers}, "report": {runNumbers}, "promote": {runNumbers}, "replay": {runNumbers},
		"why": {runNumbers, shotNumbers}, "try": {runNumbers, shotNumbers}, "photo": {runNumbers, shotNumbers},
		"verdict": {runNumbers, shotNumbers, faults}, "export": {runNumbers, runNumbers, runNumbers, runNumbers},
		"batches show": {batchNumbers}, "batches correct": {batchNumbers}, "batches set": {runNumbers, potsOfRun, batchesOrNew},
		"recipes text": {versions}, "recipes diff": {versions, versions}, "recipes edit": {versions}, "recipes scale": {versions},
		"recipes contrast": {versions}, "plan": {versions}, "calibrate": {points, points, points, points}, "find": {wordsToFind, wordsToFind, wordsToFind},
	}
	// Files may stand beside what is offered there, and nowhere else.
	files := []string{"recipes diff", "recipes edit", "recipes scale", "recipes contrast", "plan", "backup", "import"}
	for _, c := range all(root) {
		name := strings.TrimPrefix(c.CommandPath(), root.Name()+" ")
		if c.ValidArgsFunction == nil && c.ValidArgs == nil {
			c.ValidArgsFunction = offer(arguments[name], slices.Contains(files, name))
		}
		flags(c)
	}
}

// all are a command and those below it.
func all(c *cobra.Command) []*cobra.Command {
	found := []*cobra.Command{c}
	for _, sub := range c.Commands() {
		found = append(found, all(sub)...)
	}
	return found
}

// flags has the flags of a command offer what they take, where it has them.
func flags(c *cobra.Command) {
	fixed := func(these ...string) words {
		return func(*history.Store, []string) []cobra.Completion { return these }
	}
	take := map[string]words{
		"fault": faults, "colour": coloursOfRun, "mould": moulds, "lot": lots, "end": openAttempts,
		"state": fixed(string(history.Recording), string(history.Finished), string(history.Interrupted)),
		"as":    fixed("csv", "json", "archive"), "align": fixed("ready", "shot"), "parity": fixed("none", "even", "odd"), "log-level": fixed("debug", "info", "warn", "error"),
		"tick": fixed(checkKeys()...), "shot": shotNumbers, "beside": placesOf, "number": photoNumbers, "take-back": photoNumbers, "recipe": recipeNames,
	}
	// A recipe to heat by may be a file, or a kept version; one to look for has a name.
	heats := slices.Contains([]string{"demo", "serve", "check", "first-heat"}, c.Name())
	if heats {
		take["recipe"] = versions
	}
	if c.Name() == "calibrate" {
		take["probe"], take["take-back"], take["changed"] = probesOnRecord, probesOnRecord, probesOnRecord
	}
	for name, w := range take {
		if f := c.Flags().Lookup(name); f != nil && f.Value.Type() != "bool" {
			_ = c.RegisterFlagCompletionFunc(name, anywhere(w, heats && name == "recipe")) // the flag is there
		}
	}
	c.Flags().VisitAll(func(f *pflag.Flag) {
		_, known := c.GetFlagCompletionFunc(f.Name)
		if !known && !slices.Contains([]string{"data", "config", "out", "help"}, f.Name) {
			_ = c.RegisterFlagCompletionFunc(f.Name, cobra.NoFileCompletions) // the flag is there
		}
	})
	if c.Flags().Lookup("data") != nil {
		_ = c.MarkFlagDirname("data")
	}
	if c.Name() == "dashboards" {
		_ = c.MarkFlagDirname("out")
	}
	if c.Flags().Lookup("config") != nil {
		_ = c.MarkFlagFilename("config", "yaml", "yml")
	}
}

// offer offers the words of the place that is typed at.
func offer(at []words, files bool) cobra.CompletionFunc {
	return func(c *cobra.Command, args []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
		if len(args) >= len(at) {
			return nothing(files || len(args) == len(at) && c.Name() == "photo")
		}
		return anywhere(at[len(args)], files)(c, args, typed)
	}
}

// anywhere offers words wherever it is asked for them.
func anywhere(w words, files bool) cobra.CompletionFunc {
	return func(c *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
		s, err := history.Glance(folderOf(c))
		if err != nil {
			s = nil
		} else {
			defer s.Close()
		}
		_, directive := nothing(files)
		return w(s, args), directive | cobra.ShellCompDirectiveKeepOrder
	}
}

func nothing(files bool) ([]cobra.Completion, cobra.ShellCompDirective) {
	if files {
		return nil, cobra.ShellCompDirectiveDefault
	}
	return nil, cobra.ShellCompDirectiveNoFileComp
}

// folderOf is the data folder that a command would use.
func folderOf(c *cobra.Command) string {
	folder, _ := c.Flags().GetString("data")
	if file, _ := c.Flags().GetString("config"); folder == "" && file != "" {
		if b, err := config.LoadBench(file, nil); err == nil {
			folder = b.Daemon.Data
		}
	}
	return cmp.Or(folder, os.Getenv(config.EnvironmentPrefix+"DATA"), config.DefaultData)
}
