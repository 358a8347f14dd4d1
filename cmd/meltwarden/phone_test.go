package main

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/alarm"
	"meltwarden/daemon/api"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/phone"
)

// servedPage serves the page on every address of this computer, as serve does, until the
// test ends.
func servedPage(t *testing.T, folder string) string {
	t.Helper()
	l, err := net.Listen("tcp4", "0.0.0.0:0")
	require.NoError(t, err)
	phones := phone.Open(folder)
	require.NoError(t, phones.Serve(l.Addr().String()))
	ctx, end := context.WithCancel(context.Background())
	done := make(chan error, 1)
	h := api.New(api.Options{
		Hub: &frames.Hub{}, Alarms: alarm.NewList(), Phones: phones, Listen: l.Addr().String(), Hosts: []string{"bench.example"},
		Health: func() error { return nil }, Metrics: http.NotFoundHandler(),
	})
	go func() { done <- api.Serve(ctx, l, h) }()
	t.Cleanup(func() {
		end()
		require.NoError(t, <-done)
		require.NoError(t, phones.Close())
	})
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

// TestPhonesAreLetInAtATerminal while another program serves: what a command says holds
// for it at once.
func TestPhonesAreLetInAtATerminal(t *testing.T) {
	folder := t.TempDir()
	said := func(args ...string) string {
		t.Helper()
		out, err := run(t.Context(), append(append([]string{"phone"}, args...), "--data", folder)...)
		require.NoError(t, err, out)
		return out
	}
	refused := func(want string, args ...string) {
		t.Helper()
		_, err := run(t.Context(), append(append([]string{"phone"}, args...), "--data", folder)...)
		require.ErrorContains(t, err, want)
	}
	assert.Equal(t, "No phone was let in yet.\n", said("list"))
	assert.NoFileExists(t, filepath.Join(folder, phone.FileName))
	refused("start serve or demo with it", "add", "blue")
	require.NoError(t, phone.Open(folder).Serve("127.0.0.1:8420"))
	refused("only this computer reaches", "add", "blue")
	require.NoError(t, phone.Open(folder).Serve("0.0.0.0:1"))
	refused("nobody answers on 0.0.0.0:1", "add", "blue")

	port := servedPage(t, folder)
	refused(`--address "203.0.113.9": this computer is not reached there`, "add", "blue", "--address", "203.0.113.9")
	refused(`--for "soon": no time span`, "add", "blue", "--for", "soon")
	added := said("add", "blue", "--for", "6 h")
	assertPrinted(t, "phone add", added)
	words := unbroken(added)
	for _, part := range []string{"Point the camera of the phone blue here before", ":" + port + "/pair/1-", "not encrypted", "never let a router forward a port", "raises no heat"} {
		assert.Contains(t, words, part)
	}
	var object struct {
		Phone  phone.Shown
		PairAt []string `json:"pair_at"`
	}
	require.NoError(t, json.Unmarshal([]byte(said("add", "blue", "--json")), &object))
	assert.InDelta(t, phone.DefaultFor.Hours(), object.Phone.Ends.Sub(object.Phone.Made).Hours(), .1)

	// The phone, under a name that the page is known by, over a real connection.
	at, err := url.Parse(object.PairAt[0])
	require.NoError(t, err)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	device := http.Client{Jar: jar, Timeout: 10 * time.Second, Transport: &http.Transport{
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, network, "127.0.0.1:"+port)
		},
	}}
	base := "http://bench.example:" + port
	status := func(a *http.Response, err error) int {
		t.Helper()
		require.NoError(t, err)
		_, err = io.Copy(io.Discard, a.Body)
		require.NoError(t, err)
		require.NoError(t, a.Body.Close())
		return a.StatusCode
	}
	assert.Equal(t, 401, status(device.Get(base+"/healthz")))
	assert.Equal(t, 200, status(device.PostForm(base+"/pair", url.Values{"code": {strings.TrimPrefix(at.Path, "/pair/")}})))
	assert.Equal(t, 200, status(device.Get(base+"/healthz")))
	assert.Contains(t, said("list"), "let in")
	refused(`"blue" is let in until`, "add", "blue")
	assert.Contains(t, said("put-out", "blue"), "phone 2, blue, is out since")
	assert.Equal(t, 401, status(device.Get(base+"/healthz")))
	assert.Regexp(t, `phone 2, blue, was put out already, \d{4}-\d\d-\d\d \d\d:\d\d; nothing is changed`, said("put-out", "blue"))
	refused("there is no such phone", "put-out", "green")
	assert.Contains(t, said("list"), "put out")
	info, err := os.Stat(filepath.Join(folder, phone.FileName))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}
