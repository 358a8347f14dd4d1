package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/daemon/notify"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

func serveCommand() *cobra.Command {
	var files files
	c := &cobra.Command{
		Use:   "serve --config FILE",
		Short: "Watch a bench: read it, guard it, show it",
		Long: "Reads every channel of the bench five times a second and serves the page.\n\n" +
			daemon.Refused + "\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runServe(c, files) },
	}
	files.flags(c)
	config.Flags(c.Flags())
	return c
}

func runServe(c *cobra.Command, f files) error {
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
	clk := clock.New(1)
	bus, err := devices.Open(daemon.Wiring(bench), daemon.OpenPort, clk) // last: only Run closes it
	if err != nil {
		return err
	}
	fmt.Fprintln(c.OutOrStdout(), daemon.Refused)
	return daemon.New(daemon.Options{
		Settings: settings, Bus: bus, Clock: clk, Listener: listener, Log: log.Logger, Version: version(),
		Title: recipe.Name, Run: bench.Name, Recipe: recipe.Name, RecipeVersion: recipe.Fingerprint(),
		History: past, Start: daemon.StartOf(bench, recipe, version()),
		Notifier: notifier, Token: bench.Daemon.Token, Hosts: daemon.Hosts(bench.Daemon.Listen),
	}).Run(c.Context())
}

// notifierOf is nil where the bench file names no service.
func notifierOf(d config.Daemon) (*notify.Notifier, error) {
	if len(d.Notify) == 0 {
		return nil, nil
	}
	return notify.New(d.Notify)
}
