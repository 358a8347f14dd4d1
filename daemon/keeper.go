package daemon

import (
	"log/slog"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
)

// keeper hands cycles to history. Whatever becomes of history, control goes on:
// its failing is a finding for a person, no reason for a decision about heat.
type keeper struct {
	recorder *history.Recorder // nil keeps nothing
	broken   bool              // history was wanted, and could not be begun
}

// keeper begins the record of the run.
func (d *Daemon) keeper() *keeper {
	o := &d.opts
	if o.History == nil {
		return &keeper{}
	}
	o.Start.Settings = o.Settings
	recorder, err := o.History.Record(time.Now(), o.Start)
	if err != nil {
		o.Log.Error("nothing is recorded", "why", err)
		return &keeper{broken: true}
	}
	o.Log.Info("recording", "run", recorder.Run(), "file", o.History.Path())
	go logFailures(o.Log, recorder)
	return &keeper{recorder: recorder}
}

// logFailures writes down when history begins and ceases to fail.
func logFailures(log *slog.Logger, r *history.Recorder) {
	for change := range r.Changes() {
		if change == nil {
			log.Info("history is written again", "cycles_dropped", r.Dropped())
			continue
		}
		log.Error("history can not be written; cycles are kept in memory for a while", "why", change)
	}
}

func (k *keeper) keep(at time.Time, in *control.Input, f *control.Frame) {
	if k.recorder != nil {
		k.recorder.Put(cycles.Keep(at, in, f))
	}
}

func (k *keeper) failing() bool {
	return k.broken || k.recorder != nil && k.recorder.Failing() != nil
}

// close ends the record in order.
func (k *keeper) close() error {
	if k.recorder == nil {
		return nil
	}
	return k.recorder.Close(time.Now())
}
