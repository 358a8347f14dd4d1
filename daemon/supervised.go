package daemon

import (
	"context"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"meltwarden/daemon/frames"
)

// supervised tells a service manager that watches the program (systemd's protocol)
// that it is up, and from then on that cycles finish: each word is fed by a frame,
// never by a ticker. Without such a manager it does nothing.
func (d *Daemon) supervised(ctx context.Context) {
	limit, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		d.opts.Log.Error("the service manager's watchdog", "why", err)
	}
	up, next := false, time.Time{}
	d.follow(ctx, func(f *frames.Frame) {
		if !up {
			up = true
			d.notifyManager(daemon.SdNotifyReady)
		}
		if now := time.Now(); limit > 0 && !now.Before(next) {
			next = now.Add(limit / 4)
			d.notifyManager(daemon.SdNotifyWatchdog)
		}
	})
	d.notifyManager(daemon.SdNotifyStopping)
}

func (d *Daemon) notifyManager(word string) {
	if _, err := daemon.SdNotify(false, word); err != nil {
		d.opts.Log.Warn("the service manager does not listen", "why", err)
	}
}
