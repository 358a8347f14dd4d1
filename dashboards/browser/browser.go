// Package browser opens pages in a real one, for tests and pictures only: headless,
// with a fresh profile and no word to the network. Where there is none the test is
// skipped; with MELTWARDEN_TEST_ALL set, it fails.
package browser

import (
	"context"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Open starts a browser that ends with the test, and returns its context.
func Open(t testing.TB) context.Context {
	t.Helper()
	ctx, stop := start(t, t.TempDir())
	t.Cleanup(stop)
	return ctx
}

// Shared is one browser for many tests, because starting one takes longer than most of
// what is done with it. The zero value is ready; Stop ends it.
type Shared struct {
	ctx     context.Context
	stop    func()
	profile string
}

// Open returns the context of a tab with a profile of its own, which ends with the test.
func (s *Shared) Open(t testing.TB) context.Context {
	t.Helper()
	if s.ctx == nil {
		var err error
		s.profile, err = os.MkdirTemp("", "browser")
		require.NoError(t, err)
		s.ctx, s.stop = start(t, s.profile)
	}
	ctx, cancel := chromedp.NewContext(s.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))
	return ctx
}

// Stop ends the browser, if there is one.
func (s *Shared) Stop() error {
	if s.ctx == nil {
		return nil
	}
	s.stop()
	return os.RemoveAll(s.profile)
}

// start starts a browser with a profile of its own in a folder.
func start(t testing.TB, profile string) (ctx context.Context, stop func()) {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal("chromium is not installed, and MELTWARDEN_TEST_ALL asks for every test")
		}
		t.Skip("chromium is not installed")
	}
	var flags []chromedp.ExecAllocatorOption
	for _, f := range []string{
		"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run",
		"disable-background-networking", "disable-component-update", "disable-sync", "hide-scrollbars",
	} {
		flags = append(flags, chromedp.Flag(f, true))
	}
	flags = append(flags, chromedp.ExecPath(path), chromedp.UserDataDir(profile))
	allocated, end := chromedp.NewExecAllocator(context.Background(), flags...)
	ctx, cancel := chromedp.NewContext(allocated)
	stop = func() { cancel(); end() }
	if err := chromedp.Do(ctx); err != nil { // starts it; no time-out may be set on this call
		stop()
		require.NoError(t, err)
	}
	return ctx, stop
}

// Do takes steps, one after the other. An element is looked for and then used: where the
// page has replaced it in between it was not used, so that step is taken again.
func Do(ctx context.Context, t testing.TB, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	for _, step := range steps {
		err := chromedp.Do(ctx, step)
		if err != nil && strings.Contains(err.Error(), "Could not find node with given id") {
			err = chromedp.Do(ctx, step)
		}
		require.NoError(t, err)
	}
}

// Becomes waits until an expression is true on the page. Where another page has come while
// it was asked, that one is asked.
func Becomes(ctx context.Context, t testing.TB, expression string, within time.Duration) {
	t.Helper()
	poll := func() error {
		_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(within)))
		return err
	}
	err := poll()
	if err != nil && strings.Contains(err.Error(), "Cannot find context with specified id") {
		err = poll()
	}
	require.NoError(t, err, expression)
}

// Evaluate is an expression's value on the page.
func Evaluate[T any](ctx context.Context, t testing.TB, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	require.NoError(t, err, expression)
	return v
}

// Theme makes the browser ask for a "dark" or a "light" page.
func Theme(ctx context.Context, t testing.TB, name string) {
	t.Helper()
	Media(ctx, t, "prefers-color-scheme", name)
}

// Media makes the browser say that its user prefers something.
func Media(ctx context.Context, t testing.TB, feature, value string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: feature, Value: value}},
	})
	require.NoError(t, err)
}
