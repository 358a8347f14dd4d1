package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/assemble"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/history"
	"meltwarden/daemon/wear"
	"meltwarden/devices/clock"
)

type commissionFlags struct {
	file                 string
	anew, status, asJSON bool
}

func commissionCommand() *cobra.Command { return commissionAt(clock.New(1)) }

// commissionAt is the command under a clock; that of a simulated bench may be fast.
func commissionAt(clk *clock.Clock) *cobra.Command {
	var f commissionFlags
	c := &cobra.Command{
		Use:   "commission --config FILE",
		Short: "Lead from a box of parts to a bench that may be heated",
		Long: "Where FILE is not there yet, it begins with a box of parts: it asks for names, supply and\n" +
			"what protects the bench, finds devices and probes by reading, and writes FILE and a recipe\n" +
			"to begin with. Each answer is kept at once in FILE.draft; the same command goes on.\n" +
			"Without a terminal, or with TERM=dumb, each answer is a line. Nothing is heated by it.\n\n" +
			"Then it asks what protects the bench without this program, has every interlock opened by\n" +
			"hand, has you type what the display of a controller without process-value shows, has\n" +
			"every melt probe held in hot water without heat, to find out which channel it is on and\n" +
			"of which type, tries out whether every device reports its outputs off when its line goes\n" +
			"silent (by its own registers; a relay that sticks is not seen by this), also once its\n" +
			"supply was off, and finds out which plate each heater warms, and that none warms with\n" +
			"the contactor open. Each step with heat, on a cold bench, waits for a press of the\n" +
			"bench's own enable button, and is bounded. It can be stopped at any time and gone on\n" +
			"with later. A heater too weak to tell is not accepted. Not tried are the type of the\n" +
			"plate probes and, with process-value, scale and unit of a controller's set-point: look\n" +
			"at its display. What is on record lapses after 365 days.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runCommission(c, f, clk) },
	}
	c.Flags().StringVar(&f.file, "config", "", "the bench file")
	c.Flags().BoolVar(&f.anew, "anew", false, "begin again with nothing on record")
	c.Flags().BoolVar(&f.status, "status", false, "say what is on record and what is missing; touches no device")
	c.Flags().BoolVar(&f.asJSON, "json", false, "with --status, print an object")
	_ = c.MarkFlagRequired("config") // the flag exists: it was made above
	oneOf(c, "anew", "status")
	config.Flags(c.Flags())
	return c
}

func runCommission(c *cobra.Command, f commissionFlags, clk *clock.Clock) error {
	if f.asJSON && !f.status {
		return fmt.Errorf("--json: add --status; a session is led in words")
	}
	typed, anew := assemble.NewTyped(c.InOrStdin()), false
	if f.status && toMake(f.file) {
		return fmt.Errorf("%s: no such file, so nothing is on record of it; the same command without --status makes it, from a box of parts (or check the name)", f.file)
	}
	if !f.status && !f.anew && toMake(f.file) {
		anew = true
		if err := assembled(c, f.file, clk, typed); err != nil {
			return err
		}
	}
	bench, err := config.LoadBench(f.file, c.Flags())
	if err != nil {
		return err
	}
	if f.status {
		return tellCommission(c, bench, f.asJSON)
	}
	begun, err := given(c, f.file, f.anew)
	if err != nil {
		return err
	}
	f.anew = f.anew && !begun // with these answers, and nothing else
	if err := tried(c, f, bench, clk, typed); err != nil || !anew {
		return err
	}
	return afterwards(c, f.file, clk, typed)
}

// tried leads through what has to be tried before heaters may be switched on.
func tried(c *cobra.Command, f commissionFlags, bench *config.Bench, clk *clock.Clock, typed *assemble.Typed) error {
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return err
	}
	defer past.Close()
	if err := past.Trouble(); err != nil {
		return err
	}
	plugs := daemon.Plugs()
	if !f.anew {
		plugs = plugsOf(past, bench)
	}
	ctx, done := context.WithCancel(c.Context())
	defer done() // what is typed later is for others
	return commission.Run(ctx, commission.Options{
		Bench: bench, Wiring: daemon.Wiring(bench), Open: plugs.Open, Seen: plugs.Seen, Clock: clk, History: past,
		In: typed.Reader(ctx), Terminal: isTerminal(c.InOrStdin()), Out: c.OutOrStdout(), Version: version(), Anew: f.anew,
	})
}

// wornOf is how worn the relays of a bench are.
func wornOf(past *history.Store, b *config.Bench) ([]wear.Standing, error) {
	kept, err := past.Relays()
	return wear.Stand(kept, b), err
}

// tellCommission says what is on record, also while another meltwarden records; where
// something that heat needs is not, its error says so.
func tellCommission(c *cobra.Command, b *config.Bench, asJSON bool) error {
	var record *commission.Record
	relays := wear.Stand(nil, b)
	if past, err := history.OpenExisting(b.Daemon.Data); past != nil {
		defer past.Close()
		if err == nil {
			record, err = commission.Load(past)
		}
		if err == nil {
			relays, err = wornOf(past, b)
		}
		if err != nil {
			return err
		}
	}
	status := commission.StatusOf(record, b)
	status.Relays = relays
	if !asJSON {
		status.Tell(c.OutOrStdout())
	} else if err := json.NewEncoder(c.OutOrStdout()).Encode(status); err != nil {
		return err
	}
	if !status.Complete {
		return fmt.Errorf("not all that heat needs is on record: %d missing, or no longer valid", len(status.Missing))
	}
	return nil
}
