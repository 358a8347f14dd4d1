package api

import (
	"net"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
)

// elsewhere is an address of this computer that is not loopback: to a browser, and to the
// daemon, whoever uses it is another device.
func elsewhere(t *testing.T, port string) phone.Address {
	t.Helper()
	for _, a := range phone.Addresses("0.0.0.0:" + port) {
		if net.ParseIP(a.Host).To4() != nil {
			return a
		}
	}
	require.Empty(t, os.Getenv("MELTWARDEN_TEST_ALL"), "this computer is in no network, and MELTWARDEN_TEST_ALL asks for every test")
	t.Skip("this computer has no address but its own")
	return phone.Address{}
}

// phoneStage is a bench that is served on every address of this computer, and a browser as
// small as a phone that knows it by one that is not loopback.
func phoneStage(t *testing.T) (*stage, *phone.Store, phone.Address) {
	hub := &frames.Hub{}
	o, queue := options(hub)
	store := twoEvenings(t)
	o.History = store
	o.Phones = phone.Open(t.TempDir())
	t.Cleanup(func() { require.NoError(t, o.Phones.Close()) })
	l, err := net.Listen("tcp4", "0.0.0.0:0")
	require.NoError(t, err)
	_, port, _ := net.SplitHostPort(l.Addr().String())
	at := elsewhere(t, port)
	o.Hosts, o.Listen = []string{at.Host}, "0.0.0.0:"+port
	server := httptest.NewUnstartedServer(New(o))
	require.NoError(t, server.Listener.Close())
	server.Listener = l
	server.Start()
	s := &stage{t: t, ctx: startBrowser(t), server: server, hub: hub, queue: queue}
	t.Cleanup(func() {
		server.CloseClientConnections()
		server.Close()
	})
	s.shown.Store(holding())
	go s.publish(hub, o.Trend)
	s.do(chromedp.EmulateViewport(320, 640, chromedp.EmulateMobile))
	return s, o.Phones, at
}

// fitsPhone checks that nothing sticks out sideways, that ALL OFF stands in the lower third,
// and that what is pressed is 48 px high (our rules; WCAG 2.2, 1.4.10 asks for 320 px).
func (s *stage) fitsPhone(page string) {
	s.t.Helper()
	assert.Equal(s.t, 320.0, evaluate[float64](s, `document.documentElement.clientWidth`), page)
	assert.LessOrEqual(s.t, evaluate[float64](s, `document.documentElement.scrollWidth`), 320.0, page)
	assert.GreaterOrEqual(s.t, evaluate[float64](s, `Math.min(...Array.from(document.querySelectorAll("button, .key")).filter((b) => b.checkVisibility()).map((b) => b.getBoundingClientRect().height))`), 48.0, page)
	if !strings.HasPrefix(page, "/pair") {
		off := evaluate[[]float64](s, `((r) => [r.top, r.bottom])(document.querySelector(".off").getBoundingClientRect())`)
		assert.True(s.t, off[0] >= 640*2/3 && off[1] <= 640, "%s: ALL OFF from %.0f to %.0f px of 640", page, off[0], off[1])
	}
}

// TestAPhoneInABrowser goes the whole way of a phone, over an address that is not this
// computer's own: not let in, let in, marks, silence, ALL OFF, what it can not do, a
// connection that is lost, and put out.
func TestAPhoneInABrowser(t *testing.T) {
	s, phones, at := phoneStage(t)
	s.do(chromedp.Navigate(at.URL("/")))
	s.becomes(`document.body.textContent.includes("is not let in")`)
	s.fitsPhone("/pair, not let in")
	if source, err := os.ReadFile(axeFile); err == nil { // where it is missing other tests say so
		assert.Empty(t, s.violations(string(source)))
	}

	_, code, err := phones.Add("blue", time.Hour, time.Now())
	require.NoError(t, err)
	s.do(chromedp.Navigate(at.URL(pairPath + "/" + code)))
	s.becomes(`document.querySelector("h1")?.textContent === "Let this phone in?"`)
	s.fitsPhone("/pair with a code")
	s.do(chromedp.Click("form button"), chromedp.WaitVisible("#answer"))
	s.becomes(answer + ` === "Not yet: stir slate"`)
	assert.Equal(t, "/", evaluate[string](s, `location.pathname`), "the code leaves the address")
	assert.Empty(t, evaluate[string](s, `document.cookie`), "no script reads what it carries")
	s.becomes(`document.body.dataset.live === "true" && !document.getElementById("sound").hidden`)
	s.fitsPhone("/")

	from := func(kind control.CommandKind) {
		t.Helper()
		select {
		case m := <-s.queue:
			assert.Equal(t, history.Mark{Command: control.Command{Kind: kind, Pot: m.Pot, Afar: true}, From: "phone blue", Key: m.Key}, m)
			assert.Regexp(t, `^[0-9a-f]{24}$`, m.Key, "the script names each press, and not the page")
		case <-time.After(time.Minute):
			t.Fatal("no mark arrived")
		}
	}
	s.do(chromedp.Click(`[action="/api/v1/pots/2/stir"] button`))
	from(control.Stir)
	s.do(chromedp.Click("#silence"))
	from(control.Silence)
	s.do(chromedp.Click(".off"))
	from(control.AllOff)
	assert.False(t, evaluate[bool](s, `document.querySelector("[name=setpoint], [action*=hand-reading], [action*=try-out], [href='/phones']") !== null`))
	status := evaluate[float64](s, `(() => { const r = new XMLHttpRequest(); r.open("POST", "/api/v1/pots/1/setpoint", false); r.send("setpoint=170+C"); return r.status; })()`)
	assert.Equal(t, 403.0, status)
	assert.Empty(t, s.queue)

	for _, page := range []string{"/alarms", "/plan", "/runs/1", "/runs/1/shots/2", "/batches", "/keeping"} {
		s.do(chromedp.Navigate(at.URL(page)))
		s.becomes(`document.querySelector(".off") !== null`)
		s.fitsPhone(page)
		assert.False(t, evaluate[bool](s, `document.querySelector("[action$=acknowledge], [type=file], [action$=tidy], [action$=change], [action$=try]") !== null`), page)
	}

	s.do(chromedp.Navigate(at.URL("/")))
	s.becomes(`document.body.dataset.live === "true"`)
	require.NoError(t, s.server.Listener.Close())
	s.server.CloseClientConnections()
	s.becomes(answer + `.startsWith("NOT LIVE – last reading ")`)
	s.becomes(`document.getElementById("detail").textContent.includes("no connection")`)
	again, err := net.Listen("tcp4", "0.0.0.0:"+at.Port)
	require.NoError(t, err)
	t.Cleanup(func() { again.Close() })
	go s.server.Config.Serve(again)
	s.becomes(`document.body.dataset.live === "true" && document.getElementById("detail").textContent === ""`)

	_, err = phones.Revoke("blue", time.Now())
	require.NoError(t, err)
	s.becomes(answer + `.startsWith("NOT LIVE – last reading ")`)
	s.becomes(`document.getElementById("detail").textContent.includes("was put out")`)
	s.fitsPhone("/, put out")
	s.do(chromedp.Click(".off"))
	s.becomes(`document.getElementById("problem").textContent.includes("emergency stop")`)
	assert.Empty(t, s.queue)
}
