package daemon

import (
	"fmt"
	"sync/atomic"
	"time"

	"meltwarden/devices/clock"
)

// starvedAfter is how long the watchdog waits for a finished cycle.
const starvedAfter = 2 * time.Second

// watchdog is fed by finished cycles, never by a ticker. While it starves, the
// owners of the lines have long written zeros by their own deadline; this one
// tells everybody else.
type watchdog struct {
	clk *clock.Clock
	fed atomic.Int64 // bench time of the last finished cycle; 0 before the first
}

func (w *watchdog) feed() { w.fed.Store(int64(w.clk.Now())) }

// starved returns why the daemon is not healthy, or nil.
func (w *watchdog) starved() error {
	fed := time.Duration(w.fed.Load())
	if fed == 0 {
		return fmt.Errorf("no control cycle has finished yet")
	}
	if silent := w.clk.Now() - fed; silent > starvedAfter {
		return fmt.Errorf("the last control cycle finished %.1f s ago", silent.Seconds())
	}
	return nil
}
