package demo

import (
	"slices"
	"sync"
	"time"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/simbench"
)

// wiretap listens to what the program sends, at the bench's end of the line.
type wiretap struct {
	simbench.Port
	clk  *clock.Clock
	mu   sync.Mutex
	held []byte
	told onWire
}

// onWire is what the heaters and the contactor were told last.
type onWire struct {
	duty      []float64
	dutyAt    time.Duration // when
	contactor bool
	openSince time.Duration
	closings  []closing
}

// closing is a contactor that was told to close.
type closing struct{ openSince, at time.Duration }

// Read implements simbench.Port.
func (w *wiretap) Read(p []byte) (int, error) {
	n, err := w.Port.Read(p)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.held = append(w.held, p[:n]...)
	if n == 0 {
		w.held = w.held[:0]
	}
	w.parse()
	return n, err
}

// parse takes whole requests off what is held.
func (w *wiretap) parse() {
	for len(w.held) > 0 {
		length := modbus.RequestLength(w.held)
		if length == 0 || length > len(w.held) {
			return
		}
		if length < 0 || !modbus.Intact(w.held[:length]) {
			w.held = w.held[1:]
			continue
		}
		if r, err := modbus.ParseRequest(w.held[:length]); err == nil && r.Unit == simbench.UnitPower {
			w.note(r)
		}
		w.held = w.held[length:]
	}
}

// dutyCounts is full power on the wire, by the bench file.
const dutyCounts = 10000

func (w *wiretap) note(r modbus.Request) {
	switch r.Function {
	case modbus.WriteRegisters:
		w.told.duty, w.told.dutyAt = w.told.duty[:0], w.clk.Now()
		for _, d := range modbus.Registers(r.Data) {
			w.told.duty = append(w.told.duty, float64(d)/dutyCounts)
		}
	case modbus.WriteCoil:
		closed := r.Data[0] != 0
		if now := w.clk.Now(); closed && !w.told.contactor {
			w.told.closings = append(w.told.closings, closing{w.told.openSince, now})
		} else if !closed && w.told.contactor {
			w.told.openSince = now
		}
		w.told.contactor = closed
	}
}

// heard returns what was told last, and the contactor's closings since last time.
func (w *wiretap) heard() onWire {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.told
	now.duty = slices.Clone(now.duty)
	w.told.closings = nil
	return now
}
