package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
	"meltwarden/daemon/watch"
)

// checksAsked are the flags of the command checks.
type checksAsked struct {
	to     string
	ticked []string
	untick []string
	all    bool
	asJSON bool
}

func checksCommand() *cobra.Command {
	var a checksAsked
	c := &cobra.Command{
		Use: "checks", Short: "List the before-heat checks of a running bench, and tick them off",
		Long: view.Texts().ChecksAdvice + "\n\nThe bench is asked that serve or demo runs. Ticks are written down with the run, with when and from where. " + view.Texts().ChecksLapse,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return a.run(c.Context(), c.OutOrStdout()) },
	}
	c.Flags().StringVar(&a.to, "to", "", "the page's address, a URL or host:port; "+config.DefaultListen+" where nothing else is said")
	c.Flags().StringSliceVar(&a.ticked, "tick", nil, "tick these off, by their keys: dry,mould")
	c.Flags().StringSliceVar(&a.untick, "untick", nil, "take the ticks of these away, by their keys")
	c.Flags().BoolVar(&a.all, "all", false, "tick all of them off")
	c.Flags().BoolVar(&a.asJSON, "json", false, "print an object")
	c.MarkFlagsMutuallyExclusive("tick", "all")
	return c
}

// checksShown is what the API answers, as far as it is shown here.
type checksShown struct {
	Simulated bool
	Checks    []struct {
		Key, Words string
		Ticked     *time.Time
		Said       string
		Reads      *struct{ Words string }
	}
	Probes []struct {
		Of string
		C  *float64
	}
	Agreement string
	SpreadC   *float64 `json:"spread_c"`
	AgreeC    float64  `json:"agree_c"`
	HeatOn    bool     `json:"heat_on"`
	Kept      string
	// Calibration says which probes should be calibrated.
	Calibration string
}

// checksAt is where the API has them.
const checksAt = "/checks"

func (a *checksAsked) run(ctx context.Context, out io.Writer) error {
	bench, err := (watchFlags{to: a.to}).remote()
	if err != nil {
		return err
	}
	body, shown, err := askChecks(ctx, bench)
	if err != nil {
		return err
	}
	if a.all || a.ticked != nil || a.untick != nil {
		if err := bench.Send(ctx, checksAt, url.Values{"ticked": a.keys(shown), "was_ticked": a.untick, "keep": {"yes"}}); err != nil {
			return fmt.Errorf("%v refuses: %w", bench, err)
		}
		if body, shown, err = askChecks(ctx, bench); err != nil {
			return err
		}
	}
	if a.asJSON {
		_, err := out.Write(body)
		return err
	}
	return shown.write(out)
}

// keys are those that are to be ticked off.
func (a *checksAsked) keys(shown checksShown) []string {
	keys := a.ticked
	if a.all {
		for _, c := range shown.Checks {
			keys = append(keys, c.Key)
		}
	}
	return keys
}

func askChecks(ctx context.Context, bench *watch.Remote) (body []byte, shown checksShown, err error) {
	if body, err = bench.Get(ctx, checksAt); err != nil {
		return nil, shown, fmt.Errorf("%v: %w: %s", bench, err, view.Terminal().StartFirst)
	}
	if err := json.Unmarshal(body, &shown); err != nil {
		return nil, shown, fmt.Errorf("%v answers, and not like a bench: name another address with --to", bench)
	}
	return body, shown, nil
}

func (s *checksShown) write(out io.Writer) error {
	t := lines.To(out)
	if s.Simulated {
		t.Line("%s\n", view.Texts().Simulated)
	}
	if s.HeatOn {
		t.Line("%s\n", view.Texts().ChecksHeatOn)
	}
	t.Line("%s\n\n%s\n", lines.Wrap("", view.Texts().ChecksAdvice), lines.Wrap("", view.Texts().ChecksLapse))
	for _, c := range s.Checks {
		box, words := "[ ] ", c.Words
		if c.Ticked != nil {
			box = "[x] "
		}
		if c.Reads != nil {
			words += " Now: " + c.Reads.Words + "."
		}
		words += " (" + c.Key + ")"
		if c.Said != "" {
			words += " " + c.Said
		}
		t.Line("%s", lines.Hang(box, "    ", words))
	}
	t.Line("\nprobes: %s", s.probes())
	for _, p := range s.Probes {
		shows := "not read"
		if p.C != nil {
			shows = fmt.Sprintf("%.1f °C", *p.C)
		}
		t.Line("  %-24s %s", p.Of, shows)
	}
	if s.Calibration != "" {
		t.Line("%s", lines.Wrap("", s.Calibration))
	}
	kept := "nothing yet: --tick KEY,KEY or --all"
	if s.Kept != "" {
		kept = s.Kept
	}
	t.Line("\n%s", lines.Wrap("", "written down with the run: "+kept))
	return t.Err()
}

func (s *checksShown) probes() string {
	if s.SpreadC == nil {
		return s.Agreement
	}
	return fmt.Sprintf("%s; %.1f °C apart, %.0f may be", s.Agreement, *s.SpreadC, s.AgreeC)
}
