package main

import (
	"fmt"
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

func reviewCommand() *cobra.Command {
	var out string
	var style plot.Style
	c := &cobra.Command{
		Use: "review RUN --out FILE", Short: "Draw a run: every pot with its set-point and band, plate, duty and marks",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			format, ok := formats[strings.ToLower(filepath.Ext(out))]
			if !ok {
				return fmt.Errorf("--out %q: end the file's name with .svg, .png or .pdf", out)
			}
			style.Format = format
			return withHistory(c, func(s *history.Store) error { return draw(s, run, out, style) })
		},
	}
	c.Flags().StringVar(&out, "out", "", "the picture to write: .svg, .png or .pdf")
	_ = c.MarkFlagRequired("out") // the flag exists: it was made above
	c.Flags().BoolVar(&style.Dark, "dark", false, "light lines on a dark ground")
	c.Flags().BoolVar(&style.Fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().IntVar(&style.Width, "width", 1200, "in pixels")
	c.Flags().IntVar(&style.Height, "height", 800, "in pixels")
	c.Flags().DurationVar(&style.From, "from", 0, "begin at this time of the run, like 20m")
	c.Flags().DurationVar(&style.To, "to", 0, "end at this time of the run")
	dataFlag(c)
	return c
}

// draw writes the picture under another name first, so that a failure leaves
// nothing half.
func draw(s *history.Store, run int64, out string, style plot.Style) error {
	picture, err := review.Plot(s, run)
	if err != nil {
		return err
	}
	picture.Title = fmt.Sprintf("run %d", run)
	f, err := os.CreateTemp(filepath.Dir(out), ".drawing-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if err := plot.Draw(f, picture, style); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), out)
}
