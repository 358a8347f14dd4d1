package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/review"
)

// formats are the pictures a run can be drawn as, by the end of the file's name.
var formats = map[string]plot.Format{".svg": plot.SVG, ".png": plot.PNG, ".pdf": plot.PDF}

type reviewFlags struct {
	out    string
	shot   int
	events bool
	asJSON bool
	style  plot.Style
	over   overFlags
}

func reviewCommand() *cobra.Command {
	var f reviewFlags
	c := &cobra.Command{
		Use: "review RUN", Short: "Show a run: its changes, its shots, their faults; or draw it",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			if err := f.check(c); err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error { return f.show(c.OutOrStdout(), s, run) })
		},
	}
	c.Flags().IntVar(&f.shot, "shot", 0, "show the whole card of this shot")
	c.Flags().BoolVar(&f.events, "events", false, "show what happened, and when")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object")
	c.Flags().StringVar(&f.out, "out", "", "draw it into a file: .svg, .png or .pdf")
	c.Flags().BoolVar(&f.style.Fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().BoolVar(&f.style.Dark, "dark", false, "with --out, light lines on a dark ground")
	c.Flags().IntVar(&f.style.Width, "width", 1200, "with --out, in pixels")
	c.Flags().IntVar(&f.style.Height, "height", 800, "with --out, in pixels")
	c.Flags().DurationVar(&f.style.From, "from", 0, "with --out, begin at this time of the run, like 20m")
	c.Flags().DurationVar(&f.style.To, "to", 0, "with --out, end at this time of the run")
	f.over.flags(c)
	oneOf(c, "out", "json", "events")
	oneOf(c, "json", "shot", "events")
	dataFlag(c)
	return c
}

// check refuses a picture of an unknown kind before anything is read, and flags of a
// picture without one.
func (f *reviewFlags) check(c *cobra.Command) error {
	switch {
	case f.out == "":
		for _, name := range []string{"beside", "align", "dark", "width", "height", "from", "to"} {
			if c.Flags().Changed(name) {
				return fmt.Errorf("--%s: name the file of the picture with --out", name)
			}
		}
		return nil
	case f.shot != 0 && f.over.beside == "":
		return errors.New("--shot with --out: give --from and --to for the stretch about a shot, or --beside for two runs over each other")
	}
	format, ok := formats[strings.ToLower(filepath.Ext(f.out))]
	if !ok {
		return fmt.Errorf("--out %q: end the file's name with .svg, .png or .pdf", f.out)
	}
	f.style.Format = format
	return nil
}

func (f *reviewFlags) show(out io.Writer, s *history.Store, run int64) error {
	if f.out != "" {
		if err := draw(s, run, *f); err != nil {
			return err
		}
		_, err := fmt.Fprintf(out, "run %d is drawn in %s\n", run, f.out)
		return err
	}
	r, err := review.Of(s, run)
	if err != nil {
		return err
	}
	r.Where = whereData(s)
	unit := review.Unit(f.style.Fahrenheit)
	switch {
	case f.asJSON:
		made, err := r.Made(s)
		if err != nil {
			return err
		}
		return json.NewEncoder(out).Encode(map[string]any{"run": r.Run, "recipe": made, "events": r.Events, "shots": r.Shots, "corrected": append([]string{}, r.Corrected...)})
	case f.events:
		return r.WriteEvents(out)
	case f.shot != 0:
		found, err := r.WriteShot(out, unit, f.shot)
		if err == nil && !found {
			err = fmt.Errorf("run %d, shot %d: %w", run, f.shot, history.ErrNoShot)
		}
		return err
	}
	return r.WriteText(out, unit)
}

// draw draws a run, or two over each other.
func draw(s *history.Store, run int64, f reviewFlags) error {
	var picture plot.Run
	var err error
	if f.over.beside != "" {
		picture, f.style, err = f.over.picture(s, run, f.shot, f.style)
	} else {
		picture, err = review.Plot(s, run, f.style.From, f.style.To)
	}
	if err != nil {
		return err
	}
	return writeWhole(f.out, func(w io.Writer) error { return plot.Draw(w, picture, f.style) })
}

// writeWhole writes a file under another name first, so that a failure leaves nothing
// half.
func writeWhole(name string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".drawing-*")
	if err != nil {
		return fmt.Errorf("--out %s: can not be written into %s: %w", name, filepath.Dir(name), errors.Unwrap(err))
	}
	defer os.Remove(f.Name())
	if err := write(f); err != nil {
		f.Close()
		return err
	}
	// The temporary file is for its owner alone; what is made of it is to be shown around.
	if err := errors.Join(f.Chmod(0o644), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
