package history

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

const (
	// buffered is how many cycles may wait to be written: ten minutes of them.
	buffered = 3000
	// spare is the room beyond it for cycles in which somebody said something: a
	// shot is worth more than a cycle.
	spare = 200
	// commitEvery is how much of the bench's life one commit holds, in cycles: the
	// most that a killed program loses.
	commitEvery = 3
	// packed is how many cycles a finished block holds: packing three minutes at a time
	// takes a tenth of the room of packing a second at a time.
	packed = 900
	// tryAgain is how long to wait after a failed write.
	tryAgain = time.Second
)

// Kept is a cycle with what happened in it.
type Kept struct {
	Record cycles.Record
	Events []Event
	// Shot is the card of a shot that was pushed in this cycle, Mould its mould as
	// typed.
	Shot  *shot.Card
	Mould string
	// Known is what has been found out about the pots by now.
	Known []Known
	// Heats are what the pots have had by now; nil leaves those kept before.
	Heats []shot.Heat
	// Relays are the counts of all relays, where one has changed.
	Relays []Relay
}

// plain reports whether nothing happened.
func (k Kept) plain() bool {
	return len(k.Events) == 0 && k.Shot == nil && len(k.Known) == 0 && len(k.Heats) == 0
}

// Recorder writes one run while it goes on. Put and its like never wait.
type Recorder struct {
	store    *Store
	start    Start
	began    time.Time
	settings string
	run      atomic.Int64 // zero until it could be begun
	part     int64
	working  bool // what begins from now on begins a run: the bench has begun without
	resumed  bool // known when Record returns

	queue   chan Kept
	closing chan struct{}
	done    chan struct{}
	stop    sync.Once
	dropped atomic.Uint64
	failing atomic.Pointer[error]
	written atomic.Pointer[time.Time] // when a write last went well, or the first began
	changes chan error
}

// Record begins to record a run, or goes on with an interrupted one. What can not
// be written yet waits.
func (s *Store) Record(at time.Time, o Start) (*Recorder, error) {
	settings, err := settingsText(o)
	if err != nil {
		return nil, err
	}
	r := &Recorder{
		store: s, start: o, began: at, settings: settings, queue: make(chan Kept, buffered+spare),
		closing: make(chan struct{}), changes: make(chan error, 1), done: make(chan struct{}),
	}
	now := time.Now()
	r.written.Store(&now)
	r.note(r.begin())
	r.working = true
	go r.work()
	return r, nil
}

// begin opens the run, unless that is done.
func (r *Recorder) begin() error {
	if r.run.Load() != 0 {
		return nil
	}
	run, part, resumed, err := r.store.begin(r.began, r.start, r.settings, !r.working)
	if err != nil {
		return err
	}
	r.part = part
	if !r.working {
		r.resumed = resumed
	}
	r.run.Store(run)
	r.store.live.Store(run)
	return nil
}

// Run is the number of the run, or zero while it could not be begun.
func (r *Recorder) Run() int64 { return r.run.Load() }

// Live is the run that is being recorded, or zero.
func (s *Store) Live() int64 { return s.live.Load() }

// Happened counts the writes that brought events or shots into the run being recorded:
// who follows it asks for them when the count has changed.
func (s *Store) Happened() uint64 { return s.happened.Load() }

// Before is what people had set in the run before it was interrupted: the last
// set-point of each pot. It is empty for a run that begins.
func (r *Recorder) Before() ([]Event, error) {
	run := r.run.Load()
	if run == 0 {
		return nil, nil
	}
	last := map[int]Event{}
	events, err := r.store.Events(run)
	for _, e := range events {
		if e.Kind == NewSetpoint {
			last[e.Pot] = e
		}
	}
	return slices.SortedFunc(maps.Values(last), func(a, b Event) int { return cmp.Compare(a.Pot, b.Pot) }), err
}

// Resumed reports whether the run had begun before the program was started.
func (r *Recorder) Resumed() bool { return r.resumed }

// Put hands over a cycle. It does not wait: with a full buffer the cycle is
// dropped and counted.
func (r *Recorder) Put(k Kept) {
	if k.plain() && len(r.queue) >= buffered {
		r.dropped.Add(1)
		return
	}
	select {
	case r.queue <- k:
	default:
		r.dropped.Add(1)
	}
}

// PutAll hands over a cycle and waits for room: for cycles that come faster than
// life. Do not mix it with Put.
func (r *Recorder) PutAll(k Kept) { r.queue <- k }

// Dropped is how many cycles were lost because the buffer was full.
func (r *Recorder) Dropped() uint64 { return r.dropped.Load() }

// Waiting is how many cycles are in memory and wait to be written.
func (r *Recorder) Waiting() int { return len(r.queue) }

// hangs is how long cycles may wait without a word from the disk.
const hangs = 5 * time.Second

// Failing is why the last write failed, or that the disk does not answer; nil when
// all is well.
func (r *Recorder) Failing() error {
	if err := r.failing.Load(); err != nil {
		return *err
	}
	if waited := time.Since(*r.written.Load()); len(r.queue) > 0 && waited > hangs {
		return fmt.Errorf("history %s: the disk has not taken anything for %.0f s: see that it is there", r.store.path, waited.Seconds())
	}
	return nil
}

// Close writes what is left, marks the run finished, and returns what could not
// be written. No Put may come after it.
func (r *Recorder) Close(at time.Time) error {
	r.stop.Do(func() {
		close(r.closing)
		close(r.queue)
	})
	<-r.done
	r.store.live.CompareAndSwap(r.run.Load(), 0)
	if err := r.failing.Load(); err != nil {
		return fmt.Errorf("%w (%d cycles are lost)", *err, r.Dropped())
	}
	return r.store.do(func(tx *sql.Tx) error {
		_, err := tx.Exec(`UPDATE run SET state = 'finished', ended_ms = ? WHERE id = ?`, ms(at), r.run.Load())
		if err != nil {
			return err
		}
		_, err = tx.Exec(`UPDATE session SET ended_ms = ? WHERE id = (SELECT session FROM run WHERE id = ?)`, ms(at), r.run.Load())
		return err
	})
}

// work writes small blocks as they come, and packs them once they fill a big one.
func (r *Recorder) work() {
	defer close(r.done)
	defer close(r.changes)
	var b batch
	for k := range r.queue {
		b.add(k)
		// With a queue of them a commit may as well hold a whole block.
		wanted := commitEvery
		if len(r.queue) > commitEvery {
			wanted = packed
		}
		if b.unwritten < wanted && len(b.block) < packed || r.isClosing() && len(r.queue) > 0 {
			continue // at the end all that is left goes at once
		}
		for r.write(&b) != nil && r.mayTryAgain() {
		}
	}
	if b.unwritten > 0 && r.write(&b) != nil {
		r.dropped.Add(uint64(b.unwritten))
	}
}

func (r *Recorder) isClosing() bool {
	select {
	case <-r.closing:
		return true
	default:
		return false
	}
}

// batch is what has come since the last packed block.
type batch struct {
	block     []cycles.Record
	unwritten int // cycles at its end that are on no disk
	happened  []Kept
	relays    []Relay // the newest counts that are on no disk
	again     bool    // the last try failed, and may have got through all the same
}

func (b *batch) add(k Kept) {
	b.block = append(b.block, k.Record)
	b.unwritten++
	if k.Relays != nil {
		b.relays = k.Relays
	}
	if !k.plain() {
		b.happened = append(b.happened, k)
	}
}

// written forgets what is on disk. A batch that could not be written goes on
// growing: the next attempt writes it as well.
func (b *batch) written() {
	b.unwritten, b.happened, b.relays, b.again = 0, nil, nil, false
	if len(b.block) >= packed {
		b.block = b.block[:0]
	}
}

// mayTryAgain waits before another try; at the end of the run there is none.
func (r *Recorder) mayTryAgain() bool {
	select {
	case <-time.After(tryAgain):
		return true
	case <-r.closing:
		return false
	}
}

// write puts the last cycles of a batch on disk, with what happened in them.
func (r *Recorder) write(b *batch) error {
	err := r.store.stillThere()
	if errors.Is(err, errMoved) {
		r.run.Store(0) // in the file that takes its place it begins anew
		b.block = b.block[len(b.block)-b.unwritten:]
	}
	if err == nil {
		err = r.begin()
	}
	if err == nil {
		err = r.store.do(func(tx *sql.Tx) error { return r.writeBatch(tx, b) })
	}
	if err == nil {
		if len(b.happened) > 0 {
			r.store.happened.Add(1)
		}
		b.written()
		now := time.Now()
		r.written.Store(&now)
	} else {
		b.again = true
	}
	r.note(err)
	return err
}

// writeBatch writes the new cycles by themselves, or, when the block is full,
// packed together with those that were written before.
func (r *Recorder) writeBatch(tx *sql.Tx, b *batch) error {
	fresh := b.block[len(b.block)-b.unwritten:]
	if len(b.block) >= packed {
		fresh = b.block
		if _, err := tx.Exec(`DELETE FROM block WHERE part = ? AND first >= ?`, r.part, fresh[0].Kept.Cycle); err != nil {
			return err
		}
	}
	// Again after a failure that had got through all the same: the same again.
	_, err := tx.Exec(`INSERT OR REPLACE INTO block (part, first, cycles, data, bench_ms) VALUES (?, ?, ?, ?, ?)`,
		r.part, fresh[0].Kept.Cycle, len(fresh), cycles.Encode(fresh), fresh[0].Kept.Time.Milliseconds())
	if err != nil {
		return err
	}
	if b.again {
		if err := r.forget(tx, fresh[len(fresh)-b.unwritten]); err != nil {
			return err
		}
	}
	for _, k := range b.happened {
		if err := r.writeEvents(tx, k); err != nil {
			return err
		}
	}
	if err := putRelays(tx, b.relays); err != nil {
		return err
	}
	last := &fresh[len(fresh)-1]
	_, err = tx.Exec(`UPDATE part SET cycles = cycles + ?, bench_ms = ?, last_ms = ? WHERE id = ?`,
		b.unwritten, last.Kept.Time.Milliseconds(), ms(last.At), r.part)
	if err == nil && b.again {
		_, err = tx.Exec(`UPDATE part SET cycles = (SELECT sum(cycles) FROM block WHERE part = part.id) WHERE id = ?`, r.part)
	}
	return err
}

// forget takes out the events from a cycle on, in case an attempt to write them that
// failed had got through all the same. A shot stays: somebody may have judged it.
func (r *Recorder) forget(tx *sql.Tx, from cycles.Record) error {
	_, err := tx.Exec(`DELETE FROM event WHERE part = ? AND cycle >= ?`, r.part, from.Kept.Cycle)
	return err
}

func (r *Recorder) writeEvents(tx *sql.Tx, k Kept) error {
	for _, e := range k.Events {
		e.At, e.Wall = k.Record.Kept.Time, k.Record.At
		if err := r.insertEvent(tx, k.Record.Kept.Cycle, e); err != nil {
			return err
		}
	}
	for _, known := range k.Known {
		if err := insertKnown(tx, r.run.Load(), known); err != nil {
			return err
		}
	}
	if err := updateHeats(tx, r.run.Load(), k.Record.At, k.Heats); err != nil {
		return err
	}
	if k.Shot == nil {
		return nil
	}
	return r.insertShot(tx, k)
}

// note remembers how the last write went, and tells when that has changed.
func (r *Recorder) note(err error) {
	if (err == nil) == (r.failing.Load() == nil) {
		return
	}
	if err == nil {
		r.failing.Store(nil)
	} else {
		r.failing.Store(&err)
	}
	select {
	case r.changes <- err:
	default: // nobody listens; Failing still says it
	}
}

// Changes tells when writing begins to fail, with the reason, and when it works
// again, with nil. It is closed at the end.
func (r *Recorder) Changes() <-chan error { return r.changes }
