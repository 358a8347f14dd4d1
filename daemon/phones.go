package daemon

import (
	"context"
	"time"
)

const (
	// phonesEvery is how often the file of the phones is looked at, for the pages too.
	phonesEvery = 2 * time.Second
	// passedEvery is how often the time is noted by which phones are judged.
	passedEvery = time.Minute
)

// passing is what is known of the phones from one look to the next.
type passing struct {
	noted     time.Time     // when the time was noted last, by a clock that nobody sets
	due       time.Duration // how long after that it is to be noted again
	out, late string        // what was logged last, or ""
}

// passTime notes how late it is, so that a clock that is set back lets no phone in that was
// out, and logs what is wrong with the file of the phones, once.
func (d *Daemon) passTime(ctx context.Context) {
	p := passing{noted: time.Now()}
	for every := time.NewTicker(phonesEvery); ; {
		d.lookAtPhones(&p)
		select {
		case <-every.C:
		case <-ctx.Done():
			every.Stop()
			return
		}
	}
}

func (d *Daemon) lookAtPhones(p *passing) {
	why := d.opts.Phones.Trouble()
	d.logOnce(&p.out, "phones are out: no ALL OFF from one", why)
	since := time.Since(p.noted)
	if since < p.due {
		return
	}
	err := d.opts.Phones.Passed(time.Now(), since)
	if err == nil {
		p.noted, p.due = p.noted.Add(since), passedEvery
	}
	if why == nil {
		d.logOnce(&p.late, "the time by which phones are judged was not noted: a clock that is set back may let one in again", err)
	}
}

// logOnce logs an error unless it is the one that was told last.
func (d *Daemon) logOnce(told *string, what string, err error) {
	said := ""
	if err != nil {
		said = err.Error()
	}
	if said != "" && said != *told {
		d.opts.Log.Error(what, "why", err)
	}
	*told = said
}
