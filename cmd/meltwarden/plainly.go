package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// plainly has every command answer a word too many or too few with what was typed and how
// it is written, in place of a count; so too a flag that is missing or wrong.
func plainly(c *cobra.Command) {
	for _, sub := range c.Commands() {
		plainly(sub)
	}
	needed(c)
	c.SetFlagErrorFunc(flagTrouble)
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
		if words := named(c); 0 < len(args) && len(args) < len(words) {
			typed = fmt.Sprintf("%s is missing after %q", words[len(args)], strings.Join(args, " "))
		}
		return fmt.Errorf("%s: %s; write it like: %s", c.Name(), typed, ways(c))
	}
}

// named are the words that a command has to be given, as its use line has them.
func named(c *cobra.Command) (words []string) {
	for _, word := range strings.Fields(c.Use)[1:] {
		if word != strings.ToUpper(word) || strings.ContainsAny(word, "[]-.|") {
			break
		}
		words = append(words, word)
	}
	return words
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

// needed asks for the flags that have to be given by what they are for.
func needed(c *cobra.Command) {
	before := c.PreRunE
	c.PreRunE = func(c *cobra.Command, args []string) error {
		if before != nil {
			if err := before(c, args); err != nil {
				return err
			}
		}
		if c.ValidateRequiredFlags() == nil {
			return nil
		}
		var missing []string
		c.Flags().VisitAll(func(f *pflag.Flag) {
			if _, is := f.Annotations[cobra.BashCompOneRequiredFlag]; is && !f.Changed {
				missing = append(missing, fmt.Sprintf("--%s: missing; give %s", f.Name, f.Usage))
			}
		})
		return errors.New(strings.Join(missing, "\n"))
	}
}

// flagTrouble says of a flag that can not be taken what it takes.
func flagTrouble(c *cobra.Command, err error) error {
	var wrong *pflag.InvalidValueError
	var empty *pflag.ValueRequiredError
	var strange *pflag.NotExistError
	switch {
	case errors.As(err, &wrong):
		return fmt.Errorf("--%s %q: write %s: %s", wrong.GetFlag().Name, wrong.GetValue(), takes(wrong.GetFlag()), wrong.GetFlag().Usage)
	case errors.As(err, &empty):
		return fmt.Errorf("--%s: nothing stands behind it, which is for: %s", empty.GetFlag().Name, empty.GetFlag().Usage)
	case errors.As(err, &strange):
		dashes := "--"
		if strange.GetSpecifiedShortnames() != "" {
			dashes = "-"
		}
		return fmt.Errorf("%s%s: there is no such flag; %s --help lists them", dashes, strange.GetSpecifiedName(), c.CommandPath())
	}
	return err
}

// takes is what the value of a flag has to be.
func takes(f *pflag.Flag) string {
	switch f.Value.Type() {
	case "int", "int64", "uint64":
		return "a whole number"
	case "float64":
		return "a number"
	case "duration":
		return "a time span like 20m or 90s"
	case "bool":
		return "nothing behind it, or true or false"
	}
	return "something else"
}
