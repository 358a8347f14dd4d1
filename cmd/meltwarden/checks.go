package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
)

// checksAsked are the flags of the command checks.
type checksAsked struct {
	to     string
	ticked []string
	all    bool
	asJSON bool
}

func checksCommand() *cobra.Command {
	var a checksAsked
	c := &cobra.Command{
		Use: "checks", Short: "List the before-heat checks of a running bench, and tick them off",
		Long: view.Texts().ChecksAdvice + "\n\nThe bench is asked that serve or demo runs. Ticks come in one go, and are written down with the run.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return a.run(c.OutOrStdout()) },
	}
	c.Flags().StringVar(&a.to, "to", "", "the page's address, a URL or host:port; "+config.DefaultListen+" where nothing else is said")
	c.Flags().StringSliceVar(&a.ticked, "tick", nil, "tick these off and no others, by their keys: dry,mould")
	c.Flags().BoolVar(&a.all, "all", false, "tick all of them off")
	c.Flags().BoolVar(&a.asJSON, "json", false, "print an object")
	c.MarkFlagsMutuallyExclusive("tick", "all")
	return c
}

// checksShown is what the API answers, as far as it is shown here.
type checksShown struct {
	Checks []struct {
		Key, Words string
		Ticked     *time.Time
		Reads      *struct{ Words string }
	}
	Probes []struct {
		Of string
		C  *float64
	}
	Agreement string
	SpreadC   *float64 `json:"spread_c"`
	AgreeC    float64  `json:"agree_c"`
	Kept      string
}

func (a *checksAsked) run(out io.Writer) error {
	body, shown, err := a.get()
	if err != nil {
		return err
	}
	if a.all || a.ticked != nil {
		keys := a.ticked
		if a.all {
			for _, c := range shown.Checks {
				keys = append(keys, c.Key)
			}
		}
		if _, err := a.ask(http.MethodPost, url.Values{"ticked": keys, "keep": {"yes"}}); err != nil {
			return err
		}
		if body, shown, err = a.get(); err != nil {
			return err
		}
	}
	if a.asJSON {
		_, err := out.Write(body)
		return err
	}
	return shown.write(out)
}

func (a *checksAsked) get() (body []byte, shown checksShown, err error) {
	if body, err = a.ask(http.MethodGet, nil); err != nil {
		return nil, shown, err
	}
	if err := json.Unmarshal(body, &shown); err != nil {
		return nil, shown, fmt.Errorf("%s answers, and not like a bench: name another address with --to", a.address())
	}
	return body, shown, nil
}

// address is where the bench's API is to be.
func (a *checksAsked) address() string {
	at := a.to
	if at == "" {
		at = os.Getenv(config.EnvironmentPrefix + "LISTEN")
	}
	if at == "" {
		at = config.DefaultListen
	}
	if !strings.Contains(at, "://") {
		at = "http://" + at
	}
	return strings.TrimSuffix(at, "/") + "/api/v1/checks"
}

// askWithin is how long the bench may take to answer.
const askWithin = 5 * time.Second

// ask sends a request to the bench. No proxy is asked: what is done on the bench's own
// computer goes nowhere else.
func (a *checksAsked) ask(method string, fields url.Values) ([]byte, error) {
	r, err := http.NewRequest(method, a.address(), strings.NewReader(fields.Encode()))
	if err != nil {
		return nil, fmt.Errorf("--to %q: no address; write it like http://%s", a.to, config.DefaultListen)
	}
	r.Header.Set("Accept", "application/json")
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	client := http.Client{Timeout: askWithin, Transport: &http.Transport{}}
	answer, err := client.Do(r)
	if err != nil {
		return nil, fmt.Errorf("no bench answers: %w: start it with serve or demo, or name its address with --to", err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(io.LimitReader(answer.Body, 1<<20))
	if err != nil || answer.StatusCode < http.StatusMultipleChoices {
		return body, err
	}
	var problem struct{ Detail string }
	if json.Unmarshal(body, &problem) != nil || problem.Detail == "" {
		problem.Detail = answer.Status
	}
	return nil, fmt.Errorf("the bench refuses: %s", problem.Detail)
}

func (s *checksShown) write(out io.Writer) error {
	t := lines.To(out)
	t.Line("%s\n", lines.Wrap("", view.Texts().ChecksAdvice))
	for _, c := range s.Checks {
		box, words := "[ ] ", c.Words
		if c.Ticked != nil {
			box = "[x] "
		}
		if c.Reads != nil {
			words += " Now: " + c.Reads.Words + "."
		}
		t.Line("%s", lines.Hang(box, "    ", words+" ("+c.Key+")"))
	}
	t.Line("\nprobes: %s", s.probes())
	for _, p := range s.Probes {
		shows := "not read"
		if p.C != nil {
			shows = fmt.Sprintf("%.1f °C", *p.C)
		}
		t.Line("  %-24s %s", p.Of, shows)
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
