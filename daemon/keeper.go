package daemon

import (
	"errors"
	"log/slog"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/wear"
	"meltwarden/devices"
)

// Happening is a finished cycle on its way to history. Who gets one keeps none of
// it: the next cycle uses the same room.
type Happening struct {
	At    time.Time
	Input *control.Input
	Frame *control.Frame
	Marks []history.Mark
	Lids  []devices.Lid
}

// Scribe turns the cycles of a run into what history keeps of them.
type Scribe struct {
	shots     *shot.Tracker
	notice    notice
	lids      lids
	nextHeats time.Duration // bench time
}

// heatsEvery is how often the heat that the potfuls have had is kept while a run goes on:
// as much of it is lost with a program that is killed.
const heatsEvery = time.Minute

// NewScribe returns one for a run of these pots.
func NewScribe(pots []control.PotSettings) *Scribe { return &Scribe{shots: shot.NewTracker(pots)} }

// GoOn is shot.Tracker.GoOn.
func (s *Scribe) GoOn(kJ float64, before []shot.Heat, unwatched time.Duration) {
	s.shots.GoOn(kJ, before, unwatched)
}

// Heats are what the potfuls have had so far.
func (s *Scribe) Heats() []shot.Heat { return s.shots.Heats() }

// notBelieved is what came of a hand-held reading that was not taken.
const notBelieved = "not believed"

// takenBackIn reports whether marks of the same cycle take the same one back.
func takenBackIn(marks []history.Mark, m history.Mark) bool {
	return slices.ContainsFunc(marks, func(before history.Mark) bool {
		return before.Kind == control.TakeBack && before.Pot == m.Pot && before.Mark == m.Mark
	})
}

// Write takes in the next cycle.
func (s *Scribe) Write(h Happening) history.Kept {
	kept := history.Kept{Record: cycles.Keep(h.At, h.Input, h.Frame), Events: append(s.notice.of(h.Frame), s.lids.see(h.Lids, h.Frame.Time)...)}
	pushed := false
	for i, m := range h.Marks {
		if m.Kind == control.Shot && pushed {
			continue // pressed twice: one shot
		}
		if m.Kind == control.TakeBack && m.Mark != 0 && (!h.Frame.TookBack(m.Pot, m.Mark) || takenBackIn(h.Marks[:i], m)) {
			continue // it came too late, or was pressed twice: one mark is taken back
		}
		if e, ok := history.EventOf(m); ok {
			if m.Kind == control.HandReading && !h.Frame.TookHand(m.Pot) {
				e.Text = notBelieved
			}
			kept.Events = append(kept.Events, e)
		}
		if m.Kind == control.Shot {
			pushed, kept.Mould = true, m.Text
		}
	}
	if kept.Shot = s.shots.See(h.Frame, h.Input.Commands); kept.Shot != nil {
		kept.Shot.Lids = onCard(h.Lids)
	}
	if h.Frame.Time >= s.nextHeats {
		s.nextHeats += heatsEvery
		kept.Heats = s.Heats()
	}
	return kept
}

// keeper hands cycles to history. Whatever becomes of history, control goes on:
// its failing is a finding for a person, no reason for a decision about heat.
type keeper struct {
	recorder *history.Recorder // nil keeps nothing
	store    *history.Store
	broken   bool // history was wanted, and can never be begun
	scribe   *Scribe
	alarms   *alarm.List
	told     bool // that the run goes on
	// bench is asked for what it has found out about the pots that were recalled.
	bench    *control.Bench
	recalled []Recalled
	nextKept time.Duration // bench time
	tally    *tally
	kJ       float64
	nextDose time.Duration // bench time
	wear     *wear.Counter // nil where no relay wears
}

// keptEvery is how often what was found out about the pots is kept while a run goes on.
const keptEvery = 10 * time.Minute

// keeper begins the record of the run.
func (d *Daemon) keeper() *keeper {
	o := &d.opts
	if o.History == nil {
		return &keeper{alarms: d.alarms, tally: &d.tally}
	}
	o.Start.Settings = o.Settings
	recorder, err := o.History.Record(time.Now(), o.Start)
	if err != nil {
		o.Log.Error("nothing is recorded", "why", err)
		return &keeper{broken: true, alarms: d.alarms, tally: &d.tally}
	}
	if run := recorder.Run(); run != 0 {
		o.Log.Info("recording", "run", run, "goes_on", recorder.Resumed(), "file", o.History.Path())
	}
	d.goOn(recorder)
	go logFailures(o.Log, recorder)
	d.tally.recorder.Store(recorder)
	return &keeper{
		recorder: recorder, store: o.History, scribe: d.scribe(recorder), alarms: d.alarms, recalled: o.Recalled, nextKept: keptEvery,
		tally: &d.tally, kJ: o.Start.DoseKJ, wear: d.wear(),
	}
}

// wear goes on with what is counted of the relays. Where that can not be read nothing is
// counted: a count that began anew would hide what is used already.
func (d *Daemon) wear() *wear.Counter {
	o := &d.opts
	if o.Bench == nil {
		return nil
	}
	kept, err := o.History.Relays()
	if err != nil {
		o.Log.Error("what is counted of the relays can not be read: nothing is counted in this run", "why", err)
		return nil
	}
	c := wear.NewCounter(wear.Stand(kept, o.Bench), time.Now())
	d.tally.worn(c)
	return c
}

// goOn sets again what people had set before the run was interrupted: it goes on as
// what it was. Heat waits for a person all the same.
func (d *Daemon) goOn(r *history.Recorder) {
	if !r.Resumed() {
		return
	}
	before, err := r.Before()
	if err != nil {
		d.opts.Log.Error("set-points that were changed before are not known: the recipe's hold", "why", err)
	}
	for _, e := range before {
		// The program says it, so it tells nothing of anybody at the bench.
		m := history.Mark{Command: control.Command{Kind: control.Setpoint, Pot: e.Pot, C: e.C, Afar: true}, Text: "as before", Amount: e.Amount}
		if err := d.Submit(m); err != nil {
			d.opts.Log.Error("a set-point that was changed before is the recipe's again", "pot", e.Pot+1, "why", err)
		}
	}
}

// scribe begins with the heat that the potfuls of an interrupted run have had.
func (d *Daemon) scribe(r *history.Recorder) *Scribe {
	s := NewScribe(d.opts.Settings.Pots)
	var before []shot.Heat
	var unwatched time.Duration
	if r.Resumed() {
		heats, at, err := d.opts.History.Heats(r.Run())
		if err != nil {
			d.opts.Log.Error("the heat of the run before it was interrupted is not known", "why", err)
		}
		before, unwatched = heatsBefore(heats, err, len(d.opts.Settings.Pots)), time.Since(at)
	}
	s.GoOn(d.opts.Start.DoseKJ, before, unwatched)
	return s
}

// heatsBefore are the heats that were kept, or unknown ones where they can not be read now:
// what is kept from here on takes their place.
func heatsBefore(kept []shot.Heat, err error, pots int) []shot.Heat {
	if err == nil {
		return kept
	}
	return slices.Repeat([]shot.Heat{shot.UnknownHeat()}, pots)
}

// logFailures writes down when history begins and ceases to fail.
func logFailures(log *slog.Logger, r *history.Recorder) {
	for change := range r.Changes() {
		if change == nil {
			log.Info("history is written again", "run", r.Run(), "cycles_dropped", r.Dropped())
			continue
		}
		log.Error("history can not be written; cycles are kept in memory for a while", "why", change)
	}
}

func (k *keeper) keep(h Happening) {
	k.alarms.See(h.Frame)
	if slices.ContainsFunc(h.Marks, func(m history.Mark) bool { return m.Kind == control.Shot }) {
		k.tally.pushed(h.At) // pressed twice: one shot
	}
	said := alarmEvents(k.alarms.Drain())
	if k.recorder != nil && k.recorder.Resumed() && !k.told {
		k.told = true
		said = append(said, history.Event{Kind: history.GoesOn, Pot: history.WholeBench})
	}
	if k.recorder == nil {
		return
	}
	kept := k.scribe.Write(h)
	kept.Events = append(kept.Events, said...)
	if k.wear != nil {
		if kept.Relays = k.wear.See(h.At, h.Frame.Outputs.Duty); kept.Relays != nil {
			k.tally.worn(k.wear)
		}
	}
	if h.Frame.Time >= k.nextDose {
		k.nextDose += dosesEvery
		k.tally.dosed(k.scribe.Heats(), k.kJ)
	}
	if h.Frame.Time >= k.nextKept {
		k.nextKept += keptEvery
		kept.Known = Learnt(k.bench, k.recalled, h.At)
	}
	k.recorder.Put(kept)
}

// alarmEvents are what people did with alarms; that they came and went is told by
// the findings themselves.
func alarmEvents(changes []alarm.Change) (events []history.Event) {
	for _, c := range changes {
		kind := history.Kind("")
		switch {
		case c.To == alarm.Shelved:
			kind = history.AlarmShelved
		case c.To == alarm.OutOfService:
			kind = history.AlarmOutOfService
		case c.From.Aside():
			kind = history.AlarmTakenUp
		case c.From.Waits() && !c.To.Waits():
			kind = history.AlarmAcknowledged
		default:
			continue
		}
		events = append(events, history.Event{Kind: kind, Pot: c.Pot, Text: c.Code.Title()})
	}
	return events
}

func (k *keeper) failing() bool {
	return k.broken || k.recorder != nil && k.recorder.Failing() != nil
}

// close ends the record in order.
func (k *keeper) close() error {
	if k.recorder == nil {
		return nil
	}
	if err := k.recorder.Close(time.Now()); err != nil {
		return err
	}
	return errors.Join(
		k.store.KeepKnown(k.recorder.Run(), Learnt(k.bench, k.recalled, time.Now())),
		k.store.KeepHeats(k.recorder.Run(), time.Now(), k.scribe.Heats()))
}
