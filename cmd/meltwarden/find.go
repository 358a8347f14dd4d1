package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/daemon/find"
	"meltwarden/daemon/history"
)

func findCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "find WORD...", Short: "Look for words in runs, shots, recipes, batches and alarms",
		Long: "Looks for words in what was typed and what happened, and in what the guard looks for. Every word has to be there, in any order; its beginning will do.",
		RunE: func(c *cobra.Command, args []string) error {
			words := history.WordsOf(strings.Join(args, " "))
			if len(words) == 0 {
				return errors.New("find: no word; write one or more, such as eel bled")
			}
			return withHistory(c, func(s *history.Store) error {
				groups, err := find.Of(s, words)
				if err != nil {
					return err
				}
				if asJSON {
					return find.WriteJSON(c.OutOrStdout(), groups)
				}
				return find.WriteText(c.OutOrStdout(), groups)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}
