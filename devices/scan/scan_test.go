package scan_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/scan"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// box are invented devices on one line. A pipe has no parity: the opener says at which
// setting each of them understands.
type box struct {
	units  map[uint8]device
	babble bool // somebody talks, whoever listens
	busy   error

	mu     sync.Mutex
	asked  map[uint8]int // by function
	opened []scan.Setting
}

// device is one of them.
type device struct {
	setting scan.Setting
	also    []scan.Setting // it checks no parity
	only    []uint8        // functions that it has; to the others it is silent
	refuses uint8          // with this code, whatever it is asked
	takes   time.Duration
	garbles []scan.Setting // it answers there with what is no frame
	spoilt  bool           // its check is always wrong
}

func (b *box) open(s scan.Setting) (modbus.Port, error) {
	if b.busy != nil {
		return nil, b.busy
	}
	near, far := pipe.New()
	b.mu.Lock()
	b.opened = append(b.opened, s)
	b.mu.Unlock()
	go b.serve(far, s)
	return near, nil
}

func (b *box) serve(end *pipe.End, s scan.Setting) {
	chunk := make([]byte, modbus.MaxFrame)
	if b.babble {
		time.Sleep(700 * time.Millisecond)
		_, _ = end.Write([]byte{1, 2, 3})
	}
	for {
		n, err := end.Read(chunk)
		if err != nil {
			return
		}
		r, err := modbus.ParseRequest(slices.Clone(chunk[:n]))
		if err != nil {
			continue
		}
		b.mu.Lock()
		b.asked[r.Function]++
		d, is := b.units[r.Unit]
		b.mu.Unlock()
		if is {
			time.AfterFunc(d.takes, func() { _, _ = end.Write(d.reply(r, s)) })
		}
	}
}

func (d device) reply(r modbus.Request, s scan.Setting) []byte {
	switch {
	case slices.Contains(d.garbles, s):
		return []byte{0xE0, 0, 0x7F}
	case s != d.setting && !slices.Contains(d.also, s):
		return nil
	case d.only != nil && !slices.Contains(d.only, r.Function):
		return nil
	case d.refuses != 0:
		return r.AppendException(nil, modbus.Exception{Code: d.refuses})
	}
	data := []byte{0, 42}
	if r.Function <= modbus.ReadInputs {
		data = []byte{1}
	}
	frame := r.AppendReply(nil, data)
	if d.spoilt {
		frame[3] ^= 0x55
	}
	return frame
}

var (
	none9600  = scan.Setting{Baud: 9600, Parity: "none"}
	even9600  = scan.Setting{Baud: 9600, Parity: "even"}
	odd9600   = scan.Setting{Baud: 9600, Parity: "odd"}
	even19200 = scan.Setting{Baud: 19200, Parity: "even"}
)

// scanned runs a plan on a box in virtual time.
func scanned(t *testing.T, p scan.Plan, units map[uint8]device, test func(b *box, r scan.Result, took time.Duration, err error)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		b := &box{units: units, asked: map[uint8]int{}}
		begun := time.Now()
		r, err := scan.Run(context.Background(), p, b.open, clock.New(1), func(scan.Step) {})
		test(b, r, time.Since(begun), err)
		time.Sleep(10 * time.Second) // what comes late finds nobody
	})
}

func short() scan.Plan {
	p := scan.Usual()
	p.Settings = []scan.Setting{none9600, even9600, odd9600, even19200}
	return p
}

// TestNumbersOfAScan prints how long a scan takes, beside what was said beforehand, and
// what it finds of four devices that are hard to find; nothing is ever written.
func TestNumbersOfAScan(t *testing.T) {
	units := map[uint8]device{
		1:   {setting: even19200, takes: 8 * time.Millisecond},
		7:   {setting: even19200, refuses: modbus.IllegalFunction, takes: 3 * time.Millisecond},
		9:   {setting: even19200, only: []uint8{modbus.ReadCoils, modbus.ReadInputs}, takes: 20 * time.Millisecond},
		201: {setting: even19200, takes: 30 * time.Millisecond},
	}
	scanned(t, scan.Usual(), units, func(b *box, r scan.Result, took time.Duration, err error) {
		require.NoError(t, err)
		once, setting, unit := scan.Usual().Most()
		most := once + setting + 4*unit
		t.Logf("%d requests at %d settings in %.0f s; said before: %.0f s at most, and %.0f s for a setting with %.1f s for each unit that answers",
			r.Asked, len(scan.Usual().Settings), took.Seconds(), once.Seconds(), setting.Seconds(), unit.Seconds())
		var found []uint8
		for _, f := range r.Found {
			found = append(found, f.Unit)
			assert.Equal(t, []scan.Setting{even19200}, f.Settings)
			t.Logf("unit %d: %v, answers %v", f.Unit, f.Settings, f.Answers)
		}
		assert.Equal(t, []uint8{1, 7, 9, 201}, found)
		assert.LessOrEqual(t, took, most)
		assert.Less(t, took, 90*time.Second)
		assert.Len(t, r.Found[0].Answers, 4)
		assert.Contains(t, r.Found[1].Answers[0].Says, "illegal function")
		assert.Len(t, r.Found[2].Answers, 2, "it is silent to what it has not")
		for function := range b.asked {
			assert.LessOrEqual(t, function, modbus.ReadInput, "it only reads")
		}
		assert.Equal(t, `lines:
  - {name: a, port: "/dev/ttyS0", baud: 19200, parity: even, stop-bits: 1}
devices:
  - {name: unit-1, line: a, unit: 1, timeout: 100 ms}
  - {name: unit-7, line: a, unit: 7, timeout: 100 ms}
  - {name: unit-9, line: a, unit: 9, timeout: 100 ms}
  - {name: unit-201, line: a, unit: 201, timeout: 150 ms}
`, r.BenchLines("/dev/ttyS0"))
		assert.Empty(t, r.Notes())
	})
}

// TestWhatIsInDoubtIsSaid: devices that do not agree, that check no parity, that are too
// slow, whose answers are spoilt, and lines that take any speed.
func TestWhatIsInDoubtIsSaid(t *testing.T) {
	for name, c := range map[string]struct {
		units map[uint8]device
		found int
		notes []string
	}{
		"nothing":            {nil, 0, []string{"Nothing answered"}},
		"two settings":       {map[uint8]device{1: {setting: none9600}, 2: {setting: even19200}}, 2, []string{"Not all devices have the same speed"}},
		"no parity is heard": {map[uint8]device{1: {setting: even9600, also: []scan.Setting{odd9600}}}, 1, []string{"Unit 1 answers with several parities"}},
		"any speed":          {map[uint8]device{1: {setting: none9600, also: short().Settings}}, 1, []string{"Unit 1 answers at several speeds"}},
		"slow":               {map[uint8]device{3: {setting: none9600, takes: 250 * time.Millisecond}}, 1, []string{"Unit 3 answers later"}},
		"spoilt":             {map[uint8]device{3: {setting: none9600, spoilt: true}}, 0, []string{"Nothing answered", "At 9600 baud, no parity something came"}},
		"another parity":     {map[uint8]device{3: {setting: even9600, garbles: []scan.Setting{none9600}}}, 1, []string{"At 9600 baud, no parity something came"}},
		"only coils":         {map[uint8]device{4: {setting: even9600, only: []uint8{modbus.ReadCoils}}}, 1, nil},
		"a gateway":          {map[uint8]device{3: {setting: none9600, refuses: modbus.GatewayNoReply}}, 0, []string{"Nothing answered"}},
	} {
		t.Run(name, func(t *testing.T) {
			p := short()
			p.All = false
			scanned(t, p, c.units, func(_ *box, r scan.Result, _ time.Duration, err error) {
				require.NoError(t, err)
				assert.Len(t, r.Found, c.found)
				require.Len(t, r.Notes(), len(c.notes), strings.Join(r.Notes(), "\n"))
				for i, note := range c.notes {
					assert.Contains(t, r.Notes()[i], note)
				}
			})
		})
	}
}

// TestNothingIsAskedWhereOthersTalk, nor of a port that is another program's.
func TestNothingIsAskedWhereOthersTalk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &box{babble: true, asked: map[uint8]int{}}
		r, err := scan.Run(context.Background(), scan.Usual(), b.open, clock.New(1), func(scan.Step) {})
		assert.ErrorIs(t, err, scan.ErrOthers)
		assert.Zero(t, r.Asked)
		assert.Empty(t, b.asked)
		b = &box{busy: errors.New("in use by another program")}
		_, err = scan.Run(context.Background(), scan.Usual(), b.open, clock.New(1), func(scan.Step) {})
		assert.ErrorIs(t, err, b.busy)
		time.Sleep(10 * time.Second)
	})
}

// TestAScanCanBeEnded, and what was found by then is told.
func TestAScanCanBeEnded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &box{units: map[uint8]device{2: {setting: none9600}}, asked: map[uint8]int{}}
		ctx, end := context.WithCancel(context.Background())
		time.AfterFunc(3*time.Second, end)
		begun := time.Now()
		r, err := scan.Run(ctx, scan.Usual(), b.open, clock.New(1), func(scan.Step) {})
		assert.ErrorIs(t, err, context.Canceled)
		assert.Len(t, r.Found, 1)
		assert.Less(t, time.Since(begun), 3500*time.Millisecond)
		time.Sleep(10 * time.Second)
	})
}
