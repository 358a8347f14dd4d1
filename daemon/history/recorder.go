package history

import (
	"database/sql"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"meltwarden/daemon/history/cycles"
)

const (
	// buffered is how many cycles may wait to be written: ten minutes of them.
	buffered = 3000
	// commitEvery is how much of the bench's life one commit holds, in cycles: the
	// most that a killed program loses.
	commitEvery = 3
	// packed is how many cycles a finished block holds: packing a minute at a time
	// takes a tenth of the room of packing a second at a time.
	packed = 300
	// tryAgain is how long to wait after a failed write.
	tryAgain = time.Second
)

// Recorder writes one run while it goes on. Put and its like never wait.
type Recorder struct {
	store     *Store
	run, part int64

	queue   chan cycles.Record
	closing chan struct{}
	done    chan struct{}
	stop    sync.Once
	dropped atomic.Uint64
	failing atomic.Pointer[error]
	changes chan error
}

// Record begins to record a run, or goes on with an interrupted one.
func (s *Store) Record(at time.Time, o Start) (*Recorder, error) {
	run, part, err := s.begin(at, o)
	if err != nil {
		return nil, fmt.Errorf("history %s: %w", s.path, err)
	}
	r := &Recorder{store: s, run: run, part: part, queue: make(chan cycles.Record, buffered), closing: make(chan struct{}), changes: make(chan error, 1), done: make(chan struct{})}
	go r.work()
	return r, nil
}

// Run is the number of the run.
func (r *Recorder) Run() int64 { return r.run }

// Put hands over a cycle. It does not wait: with a full buffer the cycle is
// dropped and counted.
func (r *Recorder) Put(c cycles.Record) {
	select {
	case r.queue <- c:
	default:
		r.dropped.Add(1)
	}
}

// Dropped is how many cycles were lost because the buffer was full.
func (r *Recorder) Dropped() uint64 { return r.dropped.Load() }

// Failing is why the last write failed, or nil when it did not.
func (r *Recorder) Failing() error {
	if err := r.failing.Load(); err != nil {
		return *err
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
	if err := r.Failing(); err != nil {
		return err
	}
	return r.store.do(func(tx *sql.Tx) error {
		_, err := tx.Exec(`UPDATE run SET state = 'finished', ended_ms = ? WHERE id = ?`, ms(at), r.run)
		return err
	})
}

// work writes small blocks as they come, and packs them once they fill a big one.
func (r *Recorder) work() {
	defer close(r.done)
	defer close(r.changes)
	var block []cycles.Record // since the last packed block
	unwritten := 0
	for c := range r.queue {
		block = append(block, c)
		unwritten++
		if unwritten < commitEvery && len(block) < packed {
			continue
		}
		for r.write(block, unwritten) != nil && r.mayTryAgain() {
		}
		unwritten = 0
		if len(block) >= packed {
			block = block[:0]
		}
	}
	if unwritten > 0 {
		r.write(block, unwritten)
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

// write puts the last cycles of a block on disk: by themselves, or, when the
// block is full, packed together with those that were written before.
func (r *Recorder) write(block []cycles.Record, unwritten int) error {
	full := len(block) >= packed
	fresh := block[len(block)-unwritten:]
	if full {
		fresh = block
	}
	data := cycles.Encode(fresh)
	err := r.store.do(func(tx *sql.Tx) error {
		if full {
			if _, err := tx.Exec(`DELETE FROM block WHERE part = ? AND first >= ?`, r.part, fresh[0].Kept.Cycle); err != nil {
				return err
			}
		}
		// Again after a failure that had got through all the same: the same again.
		_, err := tx.Exec(`INSERT OR REPLACE INTO block (part, first, cycles, data) VALUES (?, ?, ?, ?)`,
			r.part, fresh[0].Kept.Cycle, len(fresh), data)
		return err
	})
	r.note(err)
	return err
}

// note remembers how the last write went, and tells when that has changed.
func (r *Recorder) note(err error) {
	if (err == nil) == (r.Failing() == nil) {
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
