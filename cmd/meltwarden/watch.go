package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/console"
	"meltwarden/daemon/view"
	"meltwarden/daemon/watch"
)

type watchFlags struct {
	to, file, token          string
	asJSON, once, fahrenheit bool
}

func watchCommand() *cobra.Command {
	var f watchFlags
	c := &cobra.Command{
		Use: "watch", Short: "Show a running bench in this terminal, and mark by keys",
		Long: "Shows the bench that serve or demo runs, here or on another computer, and takes the same " +
			"marks as its page. A pot is chosen by its digit, then a letter says what was done; ? lists all keys, " +
			"a capital O is ALL OFF, which is not the emergency stop. Amounts, set-points, readings and trials are the page's. Two seconds after the last word it says NOT LIVE. Leaving changes nothing at the bench. Where the output is no terminal it is one line " +
			"for every change, and one a minute.\n\n" +
			"From another computer, over SSH too (on Linux also under sudo), and in tmux or screen, it counts as done from afar, and what counts at the bench only is refused. " +
			"--to another computer needs the token of its bench file, and what goes there can be read on the way; SSH hides it.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runWatch(c, f) },
	}
	c.Flags().StringVar(&f.to, "to", "", "the address of the bench, a URL or host:port; "+config.DefaultListen+" where nothing else is said")
	c.Flags().StringVar(&f.file, "config", "", "a bench file, for its address and token")
	c.Flags().StringVar(&f.token, "token", "", "what lets other computers in; others on this computer can see it while this runs, and --config keeps it from them")
	c.Flags().BoolVar(&f.once, "once", false, "print the bench as it is and end")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object a frame, as the API has it; with --once only one")
	c.Flags().BoolVar(&f.fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	return c
}

func runWatch(c *cobra.Command, f watchFlags) error {
	remote, err := f.remote()
	if err != nil {
		return err
	}
	ctx := c.Context()
	out, unit := c.OutOrStdout(), console.Unit(f.fahrenheit)
	screen, isFile := out.(*os.File)
	switch {
	case f.once:
		return once(ctx, c, remote, f)
	case f.asJSON:
		return watch.JSON(ctx, remote, out)
	case !isFile || !drawable(screen):
		return watch.Plain(ctx, remote, out, unit)
	}
	if err := watch.Screen(ctx, watch.Options{Remote: remote, In: os.Stdin, Out: screen, Unit: unit, Colours: colours()}); err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, view.Terminal().Left)
	return err
}

// remote is the bench that the flags name.
func (f watchFlags) remote() (*watch.Remote, error) {
	address, token := os.Getenv(config.EnvironmentPrefix+"LISTEN"), f.token
	if f.file != "" {
		b, err := config.LoadBench(f.file, nil)
		if err != nil {
			return nil, err
		}
		address = b.Daemon.Listen
		if token == "" {
			token = b.Daemon.Token
		}
	}
	if address == "" {
		address = config.DefaultListen
	}
	if f.to != "" {
		address = f.to
	}
	r, err := watch.At(address, token)
	if err != nil {
		return nil, fmt.Errorf("--to %w", err)
	}
	// Who comes over SSH is on the bench's own computer, and not at the bench. A terminal
	// that can be left and taken up elsewhere may be looked at from there.
	r.Afar = afar()
	return r, nil
}

// once prints the bench as it is, and ends with what it is.
func once(ctx context.Context, c *cobra.Command, r *watch.Remote, f watchFlags) error {
	look := console.Look{Title: r.String(), Size: console.Size{Width: console.Small.Width, Height: 1000}, Unit: console.Unit(f.fahrenheit)}
	state, err := watch.Once(ctx, r, c.OutOrStdout(), f.asJSON, look)
	if state == watch.Ready && err == nil {
		return nil
	}
	return &ending{int(state), err}
}

// drawable reports whether a screen can be drawn on.
func drawable(f *os.File) bool { return isTerminal(f) && os.Getenv("TERM") != "dumb" }

// colours reports whether colours are wanted: NO_COLOR, set to anything, is the custom of
// those who want none.
func colours() bool { return os.Getenv("NO_COLOR") == "" }

// ending is an exit status of its own, and what is said with it, if anything.
type ending struct {
	code int
	err  error
}

// Error implements error.
func (s *ending) Error() string {
	if s.err == nil {
		return ""
	}
	return s.err.Error()
}

// Unwrap gives what is said with it.
func (s *ending) Unwrap() error { return s.err }

// exit is what the program ends with, and what it says on the way.
func exit(err error) (code int, said string) {
	var s *ending
	switch {
	case err == nil:
		return 0, ""
	case errors.As(err, &s):
		return s.code, s.Error()
	case readerGone(err):
		return 128 + int(syscall.SIGPIPE), "" // as a program ends that the signal ends
	}
	return 1, err.Error()
}

// readerGone reports whether whoever read what is printed has gone, like the command head.
func readerGone(err error) bool {
	var at *fs.PathError
	return errors.Is(err, syscall.EPIPE) && errors.As(err, &at) && at.Path == os.Stdout.Name()
}
