package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/assemble"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/console"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices/clock"
	"meltwarden/devices/ports"
)

// toMake reports whether a bench file is not there yet.
func toMake(file string) bool {
	_, err := os.Lstat(file)
	return errors.Is(err, fs.ErrNotExist)
}

// assembled leads to a bench file, and has it checked: every channel read, and off written once.
func assembled(c *cobra.Command, file string, clk *clock.Clock, typed *assemble.Typed) error {
	in, out := c.InOrStdin(), c.OutOrStdout()
	onScreen := isTerminal(in) && isTerminal(out) && drawable(out.(*os.File))
	o := assemble.Options{
		File: file, In: typed, Out: out, Clock: clk, Open: daemon.OpenPort, Ports: ports.Here,
		Forms: onScreen, Screen: onScreen, Size: func() console.Size { return sizeOf(out) }, Echo: !isTerminal(in),
	}
	if err := assemble.Run(c.Context(), o); err != nil {
		return err
	}
	if _, err := given(c, file, false); err != nil {
		return err
	}
	bench, err := config.LoadBench(file, c.Flags())
	if err != nil {
		return err
	}
	return assemble.Try(c.Context(), o, len(bench.Pots), func() error { return runCheck(c, files{bench: file}, false) })
}

// given puts on record what was answered while a bench file was made, and drops the draft.
// It reports whether there was such a one.
func given(c *cobra.Command, file string, instead bool) (bool, error) {
	answers := assemble.Left(file)
	if answers == nil {
		if draft := assemble.DraftOf(file); present(draft) {
			fmt.Fprintln(c.OutOrStdout(), lines.Wrap("", fmt.Sprintf("%s is there as well, did not lead to %s, and is not used: remove it.", draft, file)))
		}
		return false, nil
	}
	bench, err := config.LoadBench(file, c.Flags())
	if err != nil {
		return false, err
	}
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return false, err
	}
	err = errors.Join(past.Trouble(), commission.Give(past, bench, version(), answers, instead), past.Close())
	if err != nil {
		return false, err
	}
	return true, assemble.Drop(file)
}

// afterwards offers to calibrate, and says what comes next.
func afterwards(c *cobra.Command, file string, clk *clock.Clock, typed *assemble.Typed) error {
	o := assemble.Options{File: file, In: typed, Out: c.OutOrStdout(), Clock: clk, Echo: !isTerminal(c.InOrStdin())}
	return assemble.Afterwards(c.Context(), o, func(ctx context.Context) error {
		again := calibrateAt(clk)
		again.SetContext(ctx)
		again.SetIn(typed.Reader(ctx))
		again.SetOut(c.OutOrStdout())
		return runCalibrate(again, calibrateFlags{file: file}, nil, clk)
	})
}
