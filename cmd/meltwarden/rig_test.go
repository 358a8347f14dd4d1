package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"testing"

	"meltwarden/control/guard"
	"meltwarden/daemon/demo"
	"meltwarden/daemon/frames"
)

// TestMain is the whole program for tests that kill one.
func TestMain(m *testing.M) {
	if os.Getenv("AS_THE_PROGRAM") != "" {
		main()
		fmt.Fprintln(os.Stderr, "ended")
		os.Exit(0)
	}
	hurry()
	_ = flag.Set("test.parallel", "8") // most of those side by side wait for real time; it exists
	flag.Parse()
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" && os.Getenv("HEAT") == "" && !testing.Short() {
		// Its evenings are half a minute's computing: not beside what runs in real time,
		// and not by the program that heats, which is waited for.
		if _, err := thePast(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// background runs a demo and tells with every frame whether history is unwritten.
func background(t *testing.T, d *demo.Demo, see func(unwritten bool)) (end context.CancelFunc, over chan error) {
	t.Helper()
	ctx, end := context.WithCancel(context.Background())
	t.Cleanup(end)
	over = make(chan error, 1)
	go func() {
		over <- d.Run(ctx, func(f *frames.Frame) {
			unwritten := false
			for _, c := range f.Conditions {
				unwritten = unwritten || c.Code == guard.HistoryUnwritten
			}
			see(unwritten)
		})
	}()
	return end, over
}
