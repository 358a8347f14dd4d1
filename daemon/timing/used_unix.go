//go:build unix

package timing

import (
	"syscall"
	"time"
)

// Used is the processor's time that this program has had; zero where the system does not
// say.
func Used() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
