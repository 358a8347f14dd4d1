package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/console"
	"meltwarden/daemon/quality"
	"meltwarden/daemon/view"
	"meltwarden/daemon/watch"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

const watchesLines = `It then says of each line whether it keeps up with the bench. A cycle takes, summed over its exchanges: the characters of request and reply times the bits of a character (11; 10 without parity and with one stop bit) divided by the baud; the time until a device begins to answer; and the silence before the next request (3.5 characters, 1.75 ms above 19200 baud). Neighbouring registers are in one request.

With --watch it writes nothing, not even zeros, and asks every device again and again: round trips, what goes wrong and what that may come from, what is read, and which outputs read back as on: then heat may be on. End serve before: a line is asked by one program at a time. A device that heats by itself goes on doing so.

`

const (
	drawnEvery = 500 * time.Millisecond
	toldFirst  = devices.HushFor + time.Second // the line is silent before
	toldEvery  = 5 * time.Second
)

// watchLines shows how the devices of a bench answer, and only reads.
func watchLines(c *cobra.Command, file string, asJSON bool) error {
	bench, err := config.LoadBench(file, c.Flags())
	if err != nil {
		return err
	}
	w, err := quality.Open(daemon.Wiring(bench), plugsOnRecord(bench).Open, clock.New(1), config.Period)
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(c.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		w.Run(ctx)
	}()
	defer func() { end(); <-done }()
	if screen, is := c.OutOrStdout().(*os.File); is && !asJSON && drawable(screen) {
		title := fmt.Sprintf(view.Texts().WatchTitle, bench.Name)
		return watch.Drawn(ctx, os.Stdin, screen, colours(), drawnEvery, func() []console.Line { return w.Now().Block(title) })
	}
	return tellLines(ctx, c, w, asJSON)
}

// tellLines writes how the lines do where no terminal is drawn on, until the context ends.
func tellLines(ctx context.Context, c *cobra.Command, w *quality.Watcher, asJSON bool) error {
	out, every := c.OutOrStdout(), toldEvery
	if asJSON {
		every = time.Second
	} else if _, err := fmt.Fprintln(out, view.Texts().WatchOnlyReads); err != nil {
		return err
	}
	next := time.NewTimer(toldFirst)
	defer next.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case at := <-next.C:
			next.Reset(every)
			var err error
			if r := w.Now(); asJSON {
				err = json.NewEncoder(out).Encode(r)
			} else {
				err = r.Plain(out, at)
			}
			if err != nil {
				return err
			}
		}
	}
}
