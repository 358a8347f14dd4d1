package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// plainly has every command answer a word too many or too few with what was typed and how
// it is written, in place of a count.
func plainly(c *cobra.Command) {
	for _, sub := range c.Commands() {
		plainly(sub)
	}
	check := c.Args
	switch {
	case !c.HasParent():
		return // cobra itself offers the command that was meant
	case check == nil && c.HasSubCommands():
		check = cobra.NoArgs
	case check == nil:
		return // any words
	}
	if !c.Runnable() {
		c.RunE = func(c *cobra.Command, _ []string) error { return c.Help() }
	}
	c.Args = func(c *cobra.Command, args []string) error {
		if check(c, args) == nil {
			return nil
		}
		typed := "nothing is named"
		if len(args) > 0 {
			typed = fmt.Sprintf("%q is not how it is written", strings.Join(args, " "))
		}
		return fmt.Errorf("%s: %s; write it like: %s", c.Name(), typed, ways(c))
	}
}

// ways are how a command is written, with the words that may follow it.
func ways(c *cobra.Command) string {
	var words []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			words = append(words, sub.Name())
		}
	}
	if len(words) == 0 {
		return c.UseLine()
	}
	return c.CommandPath() + ", with one of these behind it: " + strings.Join(words, ", ")
}

// oneOf refuses flags that exclude each other.
func oneOf(c *cobra.Command, names ...string) {
	before := c.PreRunE
	c.PreRunE = func(c *cobra.Command, args []string) error {
		var given []string
		for _, name := range names {
			if c.Flags().Changed(name) {
				given = append(given, "--"+name)
			}
		}
		if len(given) > 1 {
			return fmt.Errorf("%s: give only one of them", strings.Join(given, " and "))
		}
		if before == nil {
			return nil
		}
		return before(c, args)
	}
}
