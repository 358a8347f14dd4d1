package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/review"
)

// overFlags are for two runs over each other.
type overFlags struct{ beside, align string }

func (f *overFlags) flags(c *cobra.Command) {
	c.Flags().StringVar(&f.beside, "beside", "", "with --out, another run over it: its number, or with its shot, like 5/2")
	c.Flags().StringVar(&f.align, "align", "", "with --beside, what falls together: ready, or shot (with --shot, that one; otherwise the first)")
}

func (f *overFlags) picture(s *history.Store, run int64, number int, style plot.Style) (plot.Run, plot.Style, error) {
	own, other := review.Moment{Run: run, Shot: number}, review.Moment{}
	var err error
	if strings.Contains(f.beside, "/") {
		place, placeErr := evidence.ParsePlace(f.beside)
		other, err = review.Moment{Run: place.Run, Shot: place.Shot}, placeErr
	} else {
		other.Run, err = runNumber(f.beside)
	}
	if err != nil {
		return plot.Run{}, style, err
	}
	switch {
	case f.align == "ready", f.align == "" && own.Shot == 0 && other.Shot == 0:
		own.Shot, other.Shot = 0, 0
	case f.align == "shot", f.align == "":
		own.Shot, other.Shot = max(1, own.Shot), max(1, other.Shot)
	default:
		return plot.Run{}, style, fmt.Errorf("--align %q: write ready or shot", f.align)
	}
	return review.Over(s, own, other, style)
}
