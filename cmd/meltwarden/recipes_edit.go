package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/config"
)

func recipeEditCommand() *cobra.Command {
	var set, remove []string
	var out string
	var asJSON bool
	c := &cobra.Command{
		Use:   "edit FILE|VERSION --set WAY=VALUE --out FILE",
		Short: "Write a recipe with values changed, and all else as it was typed",
		Long: "Changes values of a recipe and leaves comments and layout as they were. A value is named by\n" +
			"its way in the file: name, pour.draw-within, ivory.setpoint, ivory.cure.dwell, or\n" +
			"'ivory.colourants[white]' for the amount of a colourant, which is added if it is not there.\n" +
			"A kept version stays what it is: the changed one is kept as a new version made from it.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			changes, err := changesOf(set, remove)
			if err != nil {
				return err
			}
			return withRecipe(c, args[0], func(s recipeSource) error {
				text, err := config.Edit(s.Typed, changes)
				if err != nil {
					return err
				}
				return s.writeAs(c.OutOrStdout(), text, out, asJSON)
			})
		},
	}
	c.Flags().StringArrayVar(&set, "set", nil, "a value and what it is to be, as 'WAY=VALUE'; may be given again")
	c.Flags().StringArrayVar(&remove, "remove", nil, "what to leave out; may be given again")
	c.Flags().StringVar(&out, "out", "", "the recipe file to write; it must not exist yet")
	_ = c.MarkFlagRequired("out") // the flag exists: it was made above
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// changesOf are what is left out, and then what is set.
func changesOf(set, remove []string) ([]config.Change, error) {
	var changes []config.Change
	for _, path := range remove {
		changes = append(changes, config.Change{Path: path, Remove: true})
	}
	for _, s := range set {
		path, value, ok := cutValue(s)
		if !ok {
			return nil, fmt.Errorf("--set %q: no value; write it like 'ivory.setpoint=169 C'", s)
		}
		changes = append(changes, config.Change{Path: strings.TrimSpace(path), Value: value})
	}
	if len(changes) == 0 {
		return nil, fmt.Errorf("nothing to change; write --set 'ivory.setpoint=169 C' or --remove 'ivory.band'")
	}
	return changes, nil
}

// cutValue cuts a way from its value, at the first "=" outside of brackets.
func cutValue(s string) (path, value string, ok bool) {
	depth := 0
	for i, r := range s {
		switch {
		case r == '[':
			depth++
		case r == ']':
			depth--
		case r == '=' && depth == 0:
			return s[:i], s[i+1:], true
		}
	}
	return "", "", false
}
