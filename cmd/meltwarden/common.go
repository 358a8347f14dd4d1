package main

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/phone"
)

// listen opens the page's address and says where it is.
func listen(out io.Writer, d config.Daemon) (net.Listener, error) {
	l, err := net.Listen("tcp", d.Listen)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w: choose another address with --listen, port 0 for any that is free", d.Listen, err)
	}
	here := fromThisComputer(l.Addr().String())
	fmt.Fprintf(out, "the page is on http://%s\n", here)
	if here != l.Addr().String() {
		fmt.Fprintln(out, folded(fmt.Sprintf("your network reaches it too, on %s: each phone and program needs to be let in", l.Addr())))
	}
	return l, nil
}

// fromThisComputer is how this computer reaches what is served on an address; all of them
// together are none that could be opened.
func fromThisComputer(listen string) string {
	host, port, _ := net.SplitHostPort(listen)
	if ip, err := netip.ParseAddr(host); host == "" || err == nil && ip.IsUnspecified() {
		return net.JoinHostPort("localhost", port)
	}
	return listen
}

// letIn opens the phones of the data folder and writes down where they reach the page.
// Without them the bench is run all the same.
func letIn(log *slog.Logger, d config.Daemon, l net.Listener) *phone.Store {
	phones := phone.Open(d.Data)
	if err := phones.Serve(daemon.Served(d.Listen, l)); err != nil {
		log.Error("no phone can be let in", "why", err)
	}
	return phones
}

// journal is a log and what to close after it.
type journal struct {
	*slog.Logger
	close func() error
}

// openLog writes the log to out, or to the data folder while the screen is drawn
// on.
func openLog(out io.Writer, d config.Daemon, screen bool) (journal, error) {
	closer := func() error { return nil }
	if screen {
		if err := os.MkdirAll(d.Data, 0o755); err != nil {
			return journal{}, fmt.Errorf("data folder: %w: choose another with --data", err)
		}
		f, err := os.OpenFile(filepath.Join(d.Data, "meltwarden.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
		if err != nil {
			return journal{}, fmt.Errorf("log: %w: choose another data folder with --data", err)
		}
		out, closer = f, f.Close
	}
	return journal{slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: d.Log})), closer}, nil
}

// wrapped breaks notes into lines that a terminal has room for, each note from a line of
// its own on.
func wrapped(notes []string) string {
	var all []string
	for _, note := range notes {
		all = append(all, lines.Wrap("", note))
	}
	return strings.Join(all, "\n")
}

// outcome prints what came of a command, as an object or in words.
func outcome(out io.Writer, asJSON bool, object any, form string, args ...any) error {
	if asJSON {
		return json.NewEncoder(out).Encode(object)
	}
	_, err := fmt.Fprintln(out, folded(fmt.Sprintf(form, args...)))
	return err
}

// folded breaks every line for a terminal; what stands in stays so.
func folded(said string) string {
	var all []string
	for line := range strings.SplitSeq(said, "\n") {
		words := strings.TrimLeft(line, " ")
		indent := line[:len(line)-len(words)]
		all = append(all, lines.Hang(indent, indent+"  ", words))
	}
	return strings.Join(all, "\n")
}

func tellNotes(out io.Writer, notes []string) error {
	_, err := fmt.Fprintln(out, wrapped(notes))
	return err
}

// isTerminal reports whether a person reads what is written there, or types what is read from it.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// files are the two files a bench is run by.
type files struct{ bench, recipe string }

func (f *files) flags(c *cobra.Command) {
	c.Flags().StringVar(&f.bench, "config", "", "the bench file")
	c.Flags().StringVar(&f.recipe, "recipe", "", "a recipe file or a kept version, instead of the one the bench file names")
	_ = c.MarkFlagRequired("config") // the flag exists: it was made above
}

// load reads both files and joins them.
func (f *files) load(flags *pflag.FlagSet) (*config.Bench, *config.Recipe, control.Settings, error) {
	bench, err := config.LoadBench(f.bench, flags)
	if err != nil {
		return nil, nil, control.Settings{}, err
	}
	recipe, err := f.loadRecipe(bench)
	if err != nil {
		return nil, nil, control.Settings{}, err
	}
	settings, err := config.Settings(bench, recipe)
	return bench, recipe, settings, err
}

func (f *files) loadRecipe(b *config.Bench) (*config.Recipe, error) {
	if f.recipe == "" {
		return config.LoadRecipe(b.Recipe)
	}
	return recipeNamed(b.Daemon.Data, f.recipe)
}
