package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/history"
	"meltwarden/daemon/notify"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

func serveCommand() *cobra.Command { return serveAt(clock.New(1)) }

// serveAt is the command under a clock; that of a simulated bench may be fast.
func serveAt(clk *clock.Clock) *cobra.Command {
	var files files
	c := &cobra.Command{
		Use:   "serve --config FILE",
		Short: "Run a bench: read it, guard it, hold it, show and record it",
		Long: "Reads every channel of the bench five times a second and serves the page.\n\n" +
			"It heats nothing and only watches until meltwarden commission has put the bench on\nrecord.\n\n" +
			"If it is killed, at most the last second is lost, the run is called interrupted, and heat stays blocked until a person enables it. The next start with the same recipe within twelve hours goes on with the run and the set-points that were changed. " +
			"If the disk is full or can not be written to, control goes on, a warning stands, and the last ten minutes are kept in memory until there is room.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runServe(c, files, clk) },
	}
	files.flags(c)
	config.Flags(c.Flags())
	return c
}

func runServe(c *cobra.Command, f files, clk *clock.Clock) error {
	bench, recipe, settings, err := f.load(c.Flags())
	if err != nil {
		return err
	}
	log, err := openLog(c.ErrOrStderr(), bench.Daemon, false)
	if err != nil {
		return err
	}
	defer log.close()
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return err
	}
	defer past.Close()
	notifier, err := notifierOf(bench.Daemon)
	if err != nil {
		return err
	}
	listener, err := listen(c.OutOrStdout(), bench.Daemon)
	if err != nil {
		return err
	}
	defer listener.Close()
	phones := letIn(log.Logger, bench.Daemon, listener)
	defer phones.Close()
	start := daemon.StartOf(bench, recipe, version())
	stand, unread := calibrate.Load(past, bench)
	start.Corrected = calibrate.Recorded(stand)
	correctionsOf(stand, unread).tell(c.OutOrStdout())
	bus, err := devices.Open(calibrate.Correct(daemon.Wiring(bench), stand), plugsOf(past, bench).Open, clk) // last: only Run closes it
	if err != nil {
		return err
	}
	recalled, trouble := daemon.Recall(past, bench, settings, start)
	daemon.TellRecalled(c.OutOrStdout(), recalled, trouble)
	cleared, refused := commission.Clearance{}, ""
	if unread == nil {
		cleared = clearance(c.OutOrStdout(), past, bench)
	} else {
		refused = daemon.RefusedUncorrected
		fmt.Fprintln(c.OutOrStdout(), folded(refused))
	}
	err = daemon.New(daemon.Options{
		Settings: settings, Bus: bus, Clock: clk, Listener: listener, Log: log.Logger, Version: version(),
		Title: recipe.Name, Run: bench.Name, Recipe: recipe.Name, RecipeVersion: recipe.Fingerprint(),
		History: past, Start: start, Bench: bench, Recalled: recalled, KeepCycles: bench.Daemon.KeepCycles,
		Notifier: notifier, Token: bench.Daemon.Token, Phones: phones, Hosts: daemon.Hosts(bench.Daemon.Listen), Listen: daemon.Served(bench.Daemon.Listen, listener),
		Commissioned: cleared, Refused: refused,
	}).Run(c.Context())
	tellKept(c.OutOrStdout(), past)
	return err
}

// notifierOf is nil where the bench file names no service.
func notifierOf(d config.Daemon) (*notify.Notifier, error) {
	if len(d.Notify) == 0 {
		return nil, nil
	}
	return notify.New(d.Notify)
}

// clearance holds what is on record against the bench file, and says what came of
// it. What can not be read clears nothing.
func clearance(out io.Writer, past *history.Store, b *config.Bench) commission.Clearance {
	record, err := commission.Load(past)
	if err != nil {
		fmt.Fprintln(out, folded(fmt.Sprintf("%s\n  %v", daemon.Refused, err)))
		return commission.Clearance{}
	}
	cleared, missing := record.Against(b)
	if !cleared.Holds() {
		fmt.Fprintln(out, folded(daemon.Refused+"\n  "+strings.Join(missing, "\n  ")))
		return cleared
	}
	fmt.Fprintf(out, "%s\n%s\n", folded(fmt.Sprintf("The bench's own enable button can switch heat on. On record since %s:\n  %s",
		cleared.Saved().Local().Format("2006-01-02 15:04"), strings.Join(cleared.Words(), "\n  "))), caution)
	return cleared
}
