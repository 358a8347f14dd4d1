package watch

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"meltwarden/daemon/view"
)

// Remote is a running daemon, as its API answers.
type Remote struct {
	base   *url.URL
	token  string
	client *http.Client
	// Afar says that the person is not where this program runs, and so not at the bench.
	Afar bool
}

// At is the daemon at an address, host:port or a URL. One that serves on every address
// of its computer is asked for on this computer.
func At(address, token string) (*Remote, error) {
	if !strings.Contains(address, "://") {
		address = "http://" + address
	}
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return nil, fmt.Errorf("%q: no address of a bench; write it like http://127.0.0.1:8420", address)
	}
	if ip := net.ParseIP(u.Hostname()); u.Hostname() == "" || ip != nil && ip.IsUnspecified() {
		u.Host = net.JoinHostPort("127.0.0.1", u.Port())
	}
	return &Remote{base: u, token: token, client: &http.Client{
		// No proxy: what is done on the bench's own computer counts as done by a person there.
		Transport: &http.Transport{ResponseHeaderTimeout: answerWithin, DialContext: (&net.Dialer{Timeout: answerWithin}).DialContext},
		// A token goes to nobody else.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

// String is the address, without what could be a secret in it.
func (r *Remote) String() string { return r.base.Scheme + "://" + r.base.Host }

const (
	// answerWithin is how long an answer may take.
	answerWithin = 3 * time.Second
	// askEvery is how long after a loss it is asked again.
	askEvery = time.Second
	// deafAfter ends a stream that has said nothing, though it says every second that it is
	// there: a network that is gone tells nobody.
	deafAfter = 3 * time.Second
	// mostEvent is the longest event that is taken, in bytes.
	mostEvent = 1 << 20
)

// Get asks for what an address holds, as JSON.
func (r *Remote) Get(ctx context.Context, path string) ([]byte, error) {
	return r.ask(ctx, http.MethodGet, path, nil)
}

// Send sends what a person said, once: what comes late is false, so nothing is sent again
// by itself.
func (r *Remote) Send(ctx context.Context, path string, form url.Values) error {
	_, err := r.ask(ctx, http.MethodPost, path, form)
	return err
}

func (r *Remote) ask(ctx context.Context, method, path string, form url.Values) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	a, err := r.request(ctx, method, path, form)
	if err != nil {
		return nil, err
	}
	defer a.Body.Close()
	return io.ReadAll(io.LimitReader(a.Body, 16*mostEvent))
}

// request returns an answer that is none of a refusal.
func (r *Remote) request(ctx context.Context, method, path string, form url.Values) (*http.Response, error) {
	q, err := http.NewRequestWithContext(ctx, method, r.base.JoinPath("/api/v1").String()+path, strings.NewReader(form.Encode()))
	if err != nil {
		return nil, err
	}
	if method == http.MethodPost {
		q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if r.token != "" {
		q.Header.Set("Authorization", "Bearer "+r.token)
	}
	if r.Afar {
		q.Header.Set("Forwarded", "for=_afar") // RFC 7239, section 6.3: somebody without a name
	}
	a, err := r.client.Do(q)
	switch {
	case err != nil:
		return nil, plainly(err)
	case a.StatusCode < 200 || a.StatusCode > 299:
		defer a.Body.Close()
		return nil, refusedError{refusal(a)}
	}
	return a, nil
}

// plainly leaves out of an error what the person knows: where it was asked for.
func plainly(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		if u.Timeout() {
			return fmt.Errorf(view.Terminal().NotHeard, answerWithin)
		}
		return u.Err
	}
	return err
}

// refusedError is the program's own answer, as against none.
type refusedError struct{ error }

// refusal is why a request was refused, as RFC 9457 spells it, or else its status.
func refusal(a *http.Response) error {
	var p struct{ Title, Detail string }
	if json.NewDecoder(io.LimitReader(a.Body, mostEvent)).Decode(&p) == nil && p.Title+p.Detail != "" {
		if p.Detail == "" {
			p.Detail = p.Title
		}
		return errors.New(p.Detail)
	}
	return errors.New(a.Status)
}

// Heard is one frame, as the API spells it, or why there is none.
type Heard struct {
	Raw []byte
	Err error
}

// Follow hands on every frame that comes until ctx ends, and every loss of the stream;
// then it asks again.
func (r *Remote) Follow(ctx context.Context, take func(Heard)) {
	for ctx.Err() == nil {
		if err := r.stream(ctx, take); ctx.Err() == nil {
			take(Heard{Err: err})
		}
		select {
		case <-ctx.Done():
		case <-time.After(askEvery):
		}
	}
}

// stream follows one stream to its end.
func (r *Remote) stream(ctx context.Context, take func(Heard)) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	a, err := r.request(ctx, http.MethodGet, "/events", nil)
	if err != nil {
		return err
	}
	defer a.Body.Close()
	deaf := time.AfterFunc(deafAfter, cancel)
	defer deaf.Stop()
	err = events(a.Body, func() { deaf.Reset(deafAfter) }, func(data []byte) { take(Heard{Raw: data}) })
	switch {
	case ctx.Err() != nil:
		return fmt.Errorf(view.Terminal().Silent, deafAfter)
	case err == nil:
		return errors.New(view.Terminal().Ended)
	}
	return err
}

// events reads server-sent events (WHATWG HTML, section 9.2.6) and hands on those without
// a name, the frames.
func events(stream io.Reader, alive func(), frame func([]byte)) error {
	lines := bufio.NewScanner(stream)
	lines.Buffer(nil, mostEvent)
	name, data := "", []string{}
	for lines.Scan() {
		alive()
		field, value, _ := strings.Cut(lines.Text(), ":")
		value = strings.TrimPrefix(value, " ")
		switch {
		case lines.Text() == "":
			if name == "" && len(data) > 0 {
				frame([]byte(strings.Join(data, "\n")))
			}
			name, data = "", nil
		case field == "event" && value != "message":
			name = value
		case field == "data":
			data = append(data, value)
		}
	}
	return lines.Err()
}
