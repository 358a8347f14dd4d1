package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/console"
	"meltwarden/daemon/demo"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
	"meltwarden/daemon/watch"
)

type demoFlags struct {
	speed      float64
	seed       uint64
	untilReady bool
	asJSON     bool
	recipe     string
}

func demoCommand() *cobra.Command {
	var f demoFlags
	c := &cobra.Command{
		Use:   "demo",
		Short: "Run an invented bench and hold it: nothing else is needed",
		Long: "Starts a simulated bench behind a pseudo-terminal and the daemon on the other\nside of it. The scenario is invented: an eel-shaped bait in slate, ivory and rust.\n\n" +
			"The simulated maker presses the enable button once, and again for a pot that is back on its plate. After ALL OFF or a trip, press Enter in the demo's own terminal, as you would press that button: once to reset, once more to heat.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runDemo(c, f) },
	}
	c.Flags().Float64Var(&f.speed, "speed", 20, "how many times faster than real time, 1 to 20")
	c.Flags().Uint64Var(&f.seed, "seed", 1, "which of the invented benches")
	c.Flags().BoolVar(&f.untilReady, "until-ready", false, "end when every pot is ready to pour; fail after an hour of bench time")
	c.Flags().BoolVar(&f.asJSON, "json", false, "with --until-ready, print one object at the end")
	c.Flags().StringVar(&f.recipe, "recipe", "", "a recipe file or a kept version, instead of the invented one")
	config.Flags(c.Flags())
	return c
}

func runDemo(c *cobra.Command, f demoFlags) error {
	if !(f.speed >= 1 && f.speed <= 20) { // so that NaN is refused as well
		return fmt.Errorf("--speed %g: write a number from 1 to 20", f.speed)
	}
	if f.asJSON && !f.untilReady {
		return fmt.Errorf("--json: add --until-ready, or there is no end to print at")
	}
	bench, err := config.DemoBench(c.Flags())
	if err != nil {
		return err
	}
	recipe := config.DemoRecipe()
	if f.recipe != "" {
		if recipe, err = recipeNamed(bench.Daemon.Data, f.recipe); err != nil {
			return err
		}
	}
	// What a person reads goes to the terminal; with --json the object has the
	// standard output for itself.
	var words io.Writer = c.OutOrStdout()
	if f.asJSON {
		words = c.ErrOrStderr()
	}
	listener, err := listen(words, bench.Daemon)
	if err != nil {
		return err
	}
	defer listener.Close()
	screen := !f.asJSON && isTerminal(words) && drawable(words.(*os.File))
	log, err := openLog(c.ErrOrStderr(), bench.Daemon, screen)
	if err != nil {
		return err
	}
	defer log.close()
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return err
	}
	defer past.Close()
	if err := makePast(c.Context(), words, past, bench); err != nil {
		return err
	}
	phones := letIn(log.Logger, bench.Daemon, listener)
	defer phones.Close()
	d, err := demo.New(demo.Options{
		History: past, Recipe: recipe, Phones: phones,
		Bench: bench, Speed: f.speed, Seed: f.seed, Listener: listener, Log: log.Logger, Version: version(),
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(words, "simulated bench, invented scenario, seed %d, at ×%g, on %s\n\n", f.seed, f.speed, d.Port)
	daemon.TellRecalled(words, d.Recalled, nil)
	ctx, end := context.WithCancel(c.Context())
	defer end()
	show, shown := beside(ctx, end, words, screen, fromThisComputer(listener.Addr().String()), bench.Daemon.Token, d)
	err = d.Run(ctx, func(fr *frames.Frame) {
		show(fr)
		if f.untilReady && (fr.Ready || fr.Time > demo.Patience || tripped(fr)) {
			end()
		}
	})
	end()
	err = errors.Join(err, shown())
	tellKept(words, past)
	if err != nil || !f.untilReady {
		return err
	}
	return tellVerdict(c.OutOrStdout(), d.Verdict(), f.asJSON)
}

// beside shows the demo's bench: on a screen as watch does, where leaving ends it, and
// else in lines.
func beside(ctx context.Context, end func(), words io.Writer, screen bool, address, token string, d *demo.Demo) (show func(*frames.Frame), shown func() error) {
	if !screen {
		plain := console.NewPlain(words, console.Celsius)
		return func(f *frames.Frame) {
			b := view.Of(f, d.Settings, time.Now())
			b.Simulated = true
			_ = plain.Show(b) // a reader who is gone ends nothing
		}, func() error { return nil }
	}
	done := make(chan error, 1)
	go func() {
		defer end()
		remote, err := watch.At(address, token)
		if err == nil {
			err = watch.Screen(ctx, watch.Options{Remote: remote, In: os.Stdin, Out: words.(*os.File), Colours: colours(), Ends: true, Enable: d.Bench.PressEnable})
		}
		done <- err
	}()
	return func(*frames.Frame) {}, func() error { return <-done }
}

// makePast fills a history that is empty; one that can not be used now is left alone.
func makePast(ctx context.Context, words io.Writer, s *history.Store, b *config.Bench) error {
	runs, err := s.Runs(history.Filter{})
	if err != nil || len(runs) > 0 {
		return nil
	}
	fmt.Fprintln(words, "making the earlier evenings, once; that takes a minute or two, and nothing is heated until they are there")
	made, wanted := 0, 0
	err = demo.MakePast(ctx, s, b, version(), time.Now(), func(done, all int) {
		made, wanted = done, all
		if done == all {
			fmt.Fprintf(words, "%d earlier evenings made, all invented: see Past runs on the page, or the command runs\n", all)
		}
	})
	switch {
	case ctx.Err() != nil && made > 0 && made < wanted:
		return fmt.Errorf("ended after %d of %d earlier evenings; the rest is not made later: to have them all, start again with another --data than %s", made, wanted, b.Daemon.Data)
	case err != nil && s.Trouble() == nil:
		return err
	}
	return nil
}

// tripped reports whether the bench waits for a person that the demo's maker, who
// never presses a second time, will not be.
func tripped(f *frames.Frame) bool { return f.Heat == control.HeatTripped }

// tellVerdict prints how it went, and fails where a pot was not ready.
func tellVerdict(out io.Writer, v demo.Verdict, asJSON bool) error {
	if asJSON {
		if err := json.NewEncoder(out).Encode(v); err != nil {
			return err
		}
	} else {
		for _, p := range v.Pots {
			fmt.Fprintf(out, "%-8s true melt %.1f °C, set-point %.0f °C, overshoot %.1f °C\n", p.Colour, p.MeltC, p.SetpointC, p.OvershootC)
		}
	}
	if v.Tripped != "" {
		return fmt.Errorf("tripped: %s", v.Tripped)
	}
	if !v.Ready {
		return fmt.Errorf("not ready after %s of bench time", (time.Duration(v.ElapsedS) * time.Second).String())
	}
	return nil
}
