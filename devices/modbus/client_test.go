package modbus

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/devices/clock"
	"meltwarden/devices/pipe"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	quick = 100 * time.Millisecond
	baud  = 19200
)

// part is a piece of what a simulated device sends, some time after the request.
type part struct {
	delay time.Duration
	bytes []byte
	noise bool // not from the device, so not in its order
}

func after(delay time.Duration, bytes []byte) part { return part{delay, bytes, false} }

func noise(delay time.Duration, bytes ...byte) part { return part{delay, bytes, true} }

// patience is how long after a request a simulated device still answers it.
const patience = longestLate - 10*time.Millisecond

// answers reads requests at the far end and sends what reply returns for each, in
// the order of the requests, until the line closes. Requests that come when the
// device is too far behind are lost.
func answers(end *pipe.End, reply func(Request) []part) {
	var free time.Time
	send := func(parts []part) {
		asked := time.Now()
		begin := asked
		if free.After(asked) {
			begin = free
		}
		for _, p := range parts {
			at := begin.Add(p.delay)
			if p.noise {
				at = asked.Add(p.delay)
			} else if at.Sub(asked) > patience {
				return
			} else {
				free = at
			}
			time.AfterFunc(time.Until(at), func() { _, _ = end.Write(p.bytes) })
		}
	}
	var got []byte
	chunk := make([]byte, MaxFrame)
	for {
		n, err := end.Read(chunk)
		if err != nil {
			return
		}
		got = append(got, chunk[:n]...)
		for length := RequestLength(got); length > 0 && len(got) >= length; length = RequestLength(got) {
			r, err := ParseRequest(append([]byte{}, got[:length]...))
			got = got[length:]
			if errors.Is(err, ErrCRC) {
				continue
			}
			send(reply(r))
		}
	}
}

// good is the reply of a healthy device that holds each register's address.
func good(r Request) []byte {
	var data []byte
	for i := range r.Quantity {
		data = AppendRegisters(data, r.Address+i)
	}
	return r.AppendReply(nil, data[:min(len(data), r.size())])
}

// bench runs a test in virtual time with a client at one end of a line and a
// device at the other.
func bench(t *testing.T, speed float64, reply func(Request) []part, test func(t *testing.T, c *Client, far *pipe.End)) {
	synctest.Test(t, func(t *testing.T) {
		near, far := pipe.New()
		c := NewClient(near, baud, clock.New(speed))
		go answers(far, reply)
		test(t, c, far)
		<-c.Close()
		time.Sleep(time.Minute) // what is still under way comes and finds nobody
	})
}

// The table computed from V1.02, 2.5.1.1.
func TestTiming(t *testing.T) {
	for _, row := range table(t, "timing.csv") {
		speed, err := strconv.Atoi(row["baud"])
		require.NoError(t, err)
		character, err := strconv.ParseFloat(row["char_time_ms_11_bits"], 64)
		require.NoError(t, err)
		silence, err := strconv.ParseFloat(row["t3_5_ms"], 64)
		require.NoError(t, err)
		got := TimingOf(speed, CharacterBits)
		assert.InDelta(t, character, got.Character.Seconds()*1e3, 1e-4, speed)
		assert.InDelta(t, silence, got.Silence.Seconds()*1e3, 1e-4, speed)
	}
}

// TestSilenceAtEverySpeed: what the client keeps is 3.5 characters up to 19200 and 1.750 ms
// above (the table computed from V1.02, 2.5.1.1), after a reply and after a refusal.
func TestSilenceAtEverySpeed(t *testing.T) {
	for _, row := range table(t, "timing.csv") {
		speed, err := strconv.Atoi(row["baud"])
		require.NoError(t, err)
		want, err := strconv.ParseFloat(row["t3_5_ms"], 64)
		require.NoError(t, err)
		var asked, replied []time.Time
		reply := func(r Request) []part {
			asked = append(asked, time.Now())
			replied = append(replied, time.Now().Add(10*time.Millisecond))
			if len(asked)%2 == 0 {
				return []part{after(10*time.Millisecond, r.AppendException(nil, Exception{IllegalDataAddress}))}
			}
			return []part{after(10*time.Millisecond, good(r))}
		}
		synctest.Test(t, func(t *testing.T) {
			near, far := pipe.New()
			c := NewClient(near, speed, clock.New(1))
			go answers(far, reply)
			d := &Device{Name: "probes", Unit: 1, Timeout: time.Second}
			for range 6 {
				_, _ = c.Exchange(d, Request{Function: ReadInput, Quantity: 4})
			}
			<-c.Close()
		})
		require.Len(t, asked, 6)
		for i := 1; i < len(asked); i++ {
			assert.InDelta(t, want, asked[i].Sub(replied[i-1]).Seconds()*1e3, 1e-4, "%d baud, after exchange %d", speed, i)
		}
	}
}

func TestGapsInsideAReplyDoNotMatter(t *testing.T) {
	bench(t, 1, func(r Request) []part {
		f := good(r)
		return []part{after(10*time.Millisecond, f[:1]), after(26*time.Millisecond, f[1:6]), after(60*time.Millisecond, f[6:])}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		data, err := c.Exchange(&Device{Unit: 1, Timeout: quick}, Request{Function: ReadHolding, Address: 7, Quantity: 3})
		require.NoError(t, err)
		assert.Equal(t, []uint16{7, 8, 9}, Registers(data))
	})
}

func TestRefusalIsHeardAtOnce(t *testing.T) {
	bench(t, 1, func(r Request) []part {
		return []part{after(time.Millisecond, r.AppendException(nil, Exception{IllegalDataAddress}))}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Name: "heaters", Unit: 9, Timeout: time.Second}
		start := time.Now()
		_, err := c.Exchange(d, Request{Function: ReadHolding, Address: 40, Quantity: 100})
		assert.EqualError(t, err, "heaters (unit 9): read holding registers at address 40: refused: illegal data address (exception 02)")
		assert.ErrorIs(t, err, Exception{IllegalDataAddress})
		assert.Less(t, time.Since(start), 40*time.Millisecond)
		assert.Equal(t, uint64(1), d.Counts.Of(Refused))
		assert.Zero(t, c.ReadyAt(d, Request{Function: ReadHolding, Quantity: 100}), "the device is alive")
	})
}

// A reply that comes after its time-out has the shape of the next one. A client
// that does not outwait it is one answer behind from then on.
func TestLateReplyIsNotTheNextAnswer(t *testing.T) {
	for _, speed := range []float64{1, 20} {
		for _, lateness := range []time.Duration{110 * time.Millisecond, 190 * time.Millisecond, time.Second, 1900 * time.Millisecond} {
			t.Run(fmt.Sprintf("speed %v, %v late", speed, lateness), func(t *testing.T) {
				n := 0
				bench(t, speed, func(r Request) []part {
					n++
					delay := 5 * time.Millisecond
					if n == 3 {
						delay = lateness
					}
					return []part{after(time.Duration(float64(delay)/speed), good(r))}
				}, func(t *testing.T, c *Client, _ *pipe.End) {
					d := &Device{Unit: 1, Timeout: quick}
					late := 0
					for address := range uint16(40) {
						data, err := c.Exchange(d, Request{Function: ReadInput, Address: address, Quantity: 1})
						if err != nil {
							assert.Contains(t, []Outcome{TimedOut, Mismatch}, OutcomeOf(err))
							late++
							continue
						}
						assert.Equal(t, []uint16{address}, Registers(data))
					}
					assert.Contains(t, []int{1, 2}, late, "the late one, and the read that was to overtake it")
				})
			})
		}
	}
}

func TestOtherShapesGoOnWhileOneIsBarred(t *testing.T) {
	bench(t, 1, func(r Request) []part {
		if r.Unit == 1 && !r.Writes() {
			return nil
		}
		return []part{after(time.Millisecond, good(r))}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		dead, alive := &Device{Unit: 1, Timeout: quick}, &Device{Unit: 2, Timeout: quick}
		read := Request{Function: ReadInput, Quantity: 1}
		for range 2 { // the read itself, then the one that was to overtake it
			assert.Zero(t, c.ReadyAt(dead, read))
			_, err := c.Exchange(dead, read)
			require.Equal(t, TimedOut, OutcomeOf(err))
		}
		start := c.clk.Now()
		assert.Greater(t, c.ReadyAt(dead, read), start+longestLate-2*quick)
		assert.Zero(t, c.ReadyAt(alive, read))
		_, err := c.Exchange(alive, read)
		assert.NoError(t, err)
		_, err = c.Exchange(dead, Request{Function: WriteRegisters, Quantity: 1, Data: []byte{0, 0}})
		assert.NoError(t, err, "a write can not be answered by a late reading")
		assert.Less(t, c.clk.Now()-start, 50*time.Millisecond)
		assert.Zero(t, c.ReadyAt(dead, read), "the write was answered, so nothing from before can come")
	})
}

// One lost reply costs one exchange: the next overtakes it at once.
func TestALostReplyIsOvertaken(t *testing.T) {
	for _, r := range everyFunction() {
		t.Run(fmt.Sprintf("function %d", r.Function), func(t *testing.T) {
			asked := 0
			bench(t, 1, func(r Request) []part {
				if asked++; asked == 2 {
					return nil
				}
				return []part{after(time.Millisecond, good(r))}
			}, func(t *testing.T, c *Client, _ *pipe.End) {
				d := &Device{Unit: 1, Timeout: quick}
				_, err := c.Exchange(d, Request{Function: ReadHolding, Quantity: 9})
				require.NoError(t, err)
				_, err = c.Exchange(d, r)
				require.Equal(t, TimedOut, OutcomeOf(err))
				start := c.clk.Now()
				_, err = c.Exchange(d, r)
				assert.NoError(t, err)
				assert.Less(t, c.clk.Now()-start, 30*time.Millisecond+TimingOf(baud, CharacterBits).Of(2*MaxFrame))
			})
		})
	}
}

// A refusal names no address, so a late one could be anybody's.
func TestLateRefusalIsNotTheNextAnswer(t *testing.T) {
	asked := 0
	bench(t, 1, func(r Request) []part {
		if asked++; asked == 1 {
			return []part{after(quick+20*time.Millisecond, r.AppendException(nil, Exception{DeviceBusy}))}
		}
		return []part{after(time.Millisecond, good(r))}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Unit: 1, Timeout: quick}
		_, err := c.Exchange(d, Request{Function: ReadInput, Quantity: 2})
		require.Equal(t, TimedOut, OutcomeOf(err))
		_, err = c.Exchange(d, Request{Function: ReadInput, Quantity: 7})
		assert.ErrorIs(t, err, errDoubtful)
		assert.Equal(t, uint64(1), d.Counts.Of(Mismatch))
		assert.Zero(t, d.Counts.Of(Refused))
	})
}

// world is a device that errs, with a seed. What it holds changes with each
// request, so that an answer taken from another request shows.
type world struct {
	mu    sync.Mutex
	rng   *rand.Rand
	asked uint16
	fresh []uint16 // what the last request must bring
	fault map[string]int
}

// erring is what such a device does, as often as it is named: the three by which an answer
// could be taken for another one most of all.
var erring = []string{
	"none", "lost", "short", "alien", "noise", "split", "late noise",
	"late", "late", "corrupt", "corrupt", "doubled", "doubled",
}

func (w *world) reply(r Request) []part {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asked++
	w.fresh = []uint16{w.asked, r.Address}
	frame := r.AppendReply(nil, AppendRegisters(nil, w.fresh...)[:r.size()])
	prompt := time.Duration(w.rng.Int64N(int64(90 * time.Millisecond)))
	fault := erring[w.rng.IntN(len(erring))]
	w.fault[fault]++
	switch fault {
	case "lost":
		return nil
	case "late":
		return []part{after(quick+time.Duration(w.rng.Int64N(int64(patience-quick))), frame)}
	case "corrupt":
		// The check finds every error of one to three bits.
		for _, bit := range w.rng.Perm(8 * len(frame))[:1+w.rng.IntN(3)] {
			frame[bit/8] ^= 1 << (bit % 8)
		}
	case "short":
		frame = frame[:w.rng.IntN(len(frame))]
	case "doubled":
		again := prompt + time.Duration(w.rng.Int64N(int64(1500*time.Microsecond)))
		return []part{after(prompt, frame), after(again, frame)}
	case "alien":
		r.Unit++
		frame = r.AppendReply(nil, []byte{0, 0, 0, 0})
	case "noise":
		return []part{noise(prompt, byte(w.rng.Uint32())), after(prompt+1, frame)}
	case "split":
		cut := w.rng.IntN(len(frame))
		return []part{after(prompt, frame[:cut]), after(prompt+time.Duration(w.rng.Int64N(int64(9*time.Millisecond))), frame[cut:])}
	case "late noise":
		return []part{after(prompt, frame), noise(prompt+time.Duration(w.rng.Int64N(int64(quick))), byte(w.rng.Uint32()), 0xFF)}
	}
	return []part{after(prompt, frame)}
}

// isFresh reports whether the registers answer the last request made.
func (w *world) isFresh(r Request, regs []uint16) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return regs[0] == w.fresh[0] && regs[1] == r.Address
}

// TestNumbersOfWrongAnswers: of some ten thousand late, corrupt and doubled replies, among
// others, none is taken for an answer that it is not.
func TestNumbersOfWrongAnswers(t *testing.T) {
	const exchanges = 24000
	w := &world{rng: rand.New(rand.NewPCG(7, 11)), fault: map[string]int{}}
	bench(t, 1, w.reply, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Name: "probes", Unit: 1, Timeout: quick}
		wrong := 0
		for i := range uint16(exchanges) {
			r := Request{Function: ReadInput, Address: i % 97, Quantity: 2}
			data, err := c.Exchange(d, r)
			if err == nil && !w.isFresh(r, Registers(data)) {
				wrong++
			}
		}
		assert.Zero(t, wrong)
		assert.Greater(t, d.Counts.Of(OK), uint64(exchanges/5))
		t.Logf("%d exchanges, %d good, %d accepted wrongly", exchanges, d.Counts.Of(OK), wrong)
		worst := w.fault["late"] + w.fault["corrupt"] + w.fault["doubled"]
		t.Logf("replies: %d late, %d corrupt, %d doubled, together %d; all of them %v", w.fault["late"], w.fault["corrupt"], w.fault["doubled"], worst, w.fault)
		assert.GreaterOrEqual(t, worst, 10000)
		for _, o := range Outcomes() {
			t.Logf("%s: %d", o, d.Counts.Of(o))
		}
		_ = c.settle(c.clk.Now() + quick)
		var troubles uint64
		for _, k := range Kinds() {
			t.Logf("%s: %d", k, d.Counts.OfKind(k))
			if k != Late {
				troubles += d.Counts.OfKind(k)
			}
		}
		assert.Equal(t, troubles, d.Counts.Of(TimedOut)+d.Counts.Of(BadCheck)+d.Counts.Of(Mismatch), "every trouble has one kind")
		assert.NotZero(t, d.Counts.OfKind(Late))
		assert.LessOrEqual(t, d.Counts.OfKind(Late), uint64(w.fault["late"]))
	})
}

// everyFunction is one request of each function.
func everyFunction() []Request {
	return []Request{
		{Function: ReadCoils, Quantity: 9}, {Function: ReadInputs, Quantity: 1},
		{Function: ReadHolding, Quantity: 2}, {Function: ReadInput, Quantity: 125},
		{Function: WriteCoil, Quantity: 1, Data: AppendCoil(nil, true)},
		{Function: WriteRegister, Quantity: 1, Data: []byte{1, 2}},
		{Function: WriteCoils, Quantity: 3, Data: []byte{5}},
		{Function: WriteRegisters, Quantity: 2, Data: []byte{1, 2, 3, 4}},
	}
}

func TestEcho(t *testing.T) {
	for _, echoing := range []bool{false, true} {
		for _, alive := range []bool{false, true} {
			for _, r := range everyFunction() {
				t.Run(fmt.Sprintf("echo %t, alive %t, function %d", echoing, alive, r.Function), func(t *testing.T) {
					bench(t, 1, func(r Request) (parts []part) {
						if echoing {
							sent := r.Append(nil)
							parts = append(parts, after(0, sent[:3]), after(2*time.Millisecond, sent[3:]))
						}
						if alive {
							parts = append(parts, after(3*time.Millisecond, good(r)))
						}
						return parts
					}, func(t *testing.T, c *Client, _ *pipe.End) {
						for range 3 {
							_, err := c.Exchange(&Device{Unit: 3, Timeout: quick}, r)
							if alive {
								assert.NoError(t, err)
							} else {
								assert.Equal(t, TimedOut, OutcomeOf(err), "an echo confirms nothing")
							}
						}
					})
				})
			}
		}
	}
}

func TestBabblingLineIsGivenUp(t *testing.T) {
	bench(t, 1, func(Request) []part { return nil }, func(t *testing.T, c *Client, far *pipe.End) {
		stop := make(chan struct{})
		go func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(5 * time.Millisecond):
					_, _ = far.Write([]byte{0xAA})
				}
			}
		}()
		d := &Device{Unit: 1, Timeout: quick}
		start := time.Now()
		_, err := c.Exchange(d, Request{Function: ReadInput, Quantity: 1})
		close(stop)
		assert.ErrorIs(t, err, ErrNeverSilent)
		assert.Equal(t, uint64(1), d.Counts.Of(Mismatch))
		assert.Less(t, time.Since(start), time.Second)
	})
}

func TestBlockedWriteGivesThePortUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := pipe.New()
		_, err := near.Write(make([]byte, pipe.Capacity))
		require.NoError(t, err)
		c := NewClient(near, baud, clock.New(1))
		d := &Device{Unit: 1, Timeout: quick}
		start := time.Now()
		_, err = c.Exchange(d, Request{Function: ReadInput, Quantity: 1})
		assert.Equal(t, PortLost, OutcomeOf(err))
		assert.ErrorContains(t, err, "nobody takes the bytes")
		assert.Less(t, time.Since(start), 600*time.Millisecond)
		_, err = c.Exchange(d, Request{Function: ReadInput, Quantity: 1})
		assert.Equal(t, PortLost, OutcomeOf(err), "a port is lost for good")
		<-c.Close()
		n, err := far.Read(make([]byte, 2*pipe.Capacity))
		require.NoError(t, err)
		assert.Equal(t, pipe.Capacity, n, "nothing was sent after")
	})
}

func TestHangUp(t *testing.T) {
	bench(t, 1, func(Request) []part { return nil }, func(t *testing.T, c *Client, far *pipe.End) {
		d := &Device{Name: "probes", Unit: 1, Timeout: quick}
		time.AfterFunc(60*time.Millisecond, func() { far.Close() })
		_, err := c.Exchange(d, Request{Function: ReadInput, Quantity: 1})
		assert.EqualError(t, err, "probes (unit 1): read input registers at address 0: port lost: the other end of the line hung up")
		assert.Equal(t, uint64(1), d.Counts.Of(PortLost))
	})
}

// prompt is a port whose device has its reply ready as soon as it is asked.
type prompt struct{ reply, waiting []byte }

func (p *prompt) Read(b []byte) (int, error) {
	n := copy(b, p.waiting)
	p.waiting = p.waiting[n:]
	return n, nil
}

func (p *prompt) Write(b []byte) (int, error) {
	p.waiting = p.reply
	return len(b), nil
}
func (p *prompt) SetReadTimeout(time.Duration) error { return nil }
func (p *prompt) Close() error                       { return nil }

func TestExchangeAllocatesNothing(t *testing.T) {
	r := Request{Unit: 1, Function: ReadInput, Quantity: 8}
	c := NewClient(&prompt{reply: good(r)}, 115200, clock.New(1))
	d := &Device{Unit: 1, Timeout: time.Second}
	assert.Zero(t, testing.AllocsPerRun(50, func() {
		if _, err := c.Exchange(d, r); err != nil {
			t.Fatal(err)
		}
	}))
	<-c.Close()
}

// TestWhatIsToldBarsNoQuestion: a write that is told again and again, as "off" is,
// to a device that did not answer for a while, does not keep it from being asked
// once it is well.
func TestWhatIsToldBarsNoQuestion(t *testing.T) {
	var well atomic.Bool
	bench(t, 1, func(r Request) []part {
		if !well.Load() {
			return nil
		}
		return []part{after(time.Millisecond, good(r))}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Unit: 1, Timeout: quick}
		off := Request{Function: WriteRegisters, Quantity: 1, Data: []byte{0, 0}}
		for range 2 { // the write, then the read that was to overtake it
			_, err := c.Exchange(d, off)
			require.Equal(t, TimedOut, OutcomeOf(err))
		}
		well.Store(true)
		for began := c.clk.Now(); c.clk.Now() < began+longestLate; time.Sleep(400 * time.Millisecond) {
			require.NoError(t, c.Tell(d, off))
			assert.True(t, c.Barred(d, off))
		}
		assert.Zero(t, c.ReadyAt(d, off), "the read can be asked")
		_, err := c.Exchange(d, off)
		assert.NoError(t, err)
		assert.False(t, c.Barred(d, off))
	})
}

// TestUnbarredReads: as long as a late reply can come, a read is offered that it can
// not be taken for, in one table after the other; with all of them lost there is none.
func TestUnbarredReads(t *testing.T) {
	bench(t, 1, func(Request) []part { return nil }, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Unit: 1, Timeout: quick}
		r := Request{Function: ReadCoils, Address: 7, Quantity: 1}
		for _, function := range []uint8{ReadCoils, ReadInputs, ReadHolding, ReadInput} {
			free, ok := c.Unbarred(d, r)
			require.True(t, ok)
			require.Equal(t, Request{Unit: 1, Function: function, Address: 7, Quantity: 1}, free)
			_, err := c.Exchange(d, free)
			require.Equal(t, TimedOut, OutcomeOf(err))
		}
		_, ok := c.Unbarred(d, r)
		assert.False(t, ok)
	})
}
