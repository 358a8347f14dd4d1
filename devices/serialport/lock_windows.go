package serialport

import "time"

// lock does nothing: the system itself opens a port only once.
func lock(string) (func(), error) { return func() {}, nil }

// wholeTimeout rounds up to whole milliseconds, of which the system counts at
// least one.
func wholeTimeout(t time.Duration) time.Duration {
	return max(time.Millisecond, (t + time.Millisecond - 1).Truncate(time.Millisecond))
}
