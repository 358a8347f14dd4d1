package daemon

import (
	"context"
	"time"
)

// Old runs are looked for some time after the start, when nobody waits for the first
// page any more, and then every day.
const (
	tidyAfter = 10 * time.Minute
	tidyEvery = 24 * time.Hour
)

// tidy thins the cycles of runs that are older than the bench file keeps them, beside
// everything else: heat waits for none of it.
func (d *Daemon) tidy(ctx context.Context) {
	next := time.NewTimer(tidyAfter)
	defer next.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-next.C:
		}
		d.tidyNow(ctx, time.Now())
		next.Reset(tidyEvery)
	}
}

func (d *Daemon) tidyNow(ctx context.Context, now time.Time) {
	done, err := d.opts.History.Tidy(ctx, now, d.opts.KeepCycles, false)
	for _, r := range done.Runs {
		d.opts.Log.Info("an old run was thinned", "run", r.Run, "cycles_before", r.Cycles, "cycles_after", r.Kept)
	}
	if err != nil {
		d.opts.Log.Error("old runs could not be thinned", "why", err)
	}
}
