package daemon

import (
	"context"
	"time"
)

// phonesEvery is how often the time is noted by which phones are judged, and their file
// looked at.
const phonesEvery = time.Minute

// passTime notes how late it is, so that a clock that is set back lets no phone in that was
// out, and logs what is wrong with the file of the phones, once.
func (d *Daemon) passTime(ctx context.Context) {
	told := ""
	noted := time.Now() // with a reading of the clock that nobody sets
	for every := time.NewTicker(phonesEvery); ; {
		now := time.Now()
		err := d.opts.Phones.Passed(now, now.Sub(noted))
		if err == nil {
			noted = now
		}
		if why := d.opts.Phones.Trouble(); why != nil {
			err = why
		}
		switch {
		case err == nil:
			told = ""
		case err.Error() != told:
			told = err.Error()
			d.opts.Log.Error("phones are out: no ALL OFF from one", "why", err)
		}
		select {
		case <-every.C:
		case <-ctx.Done():
			every.Stop()
			return
		}
	}
}
