package alarm

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
)

// Priority says how soon a person is needed.
type Priority uint8

// The priorities, the least first.
const (
	Low    Priority = iota // to know
	Medium                 // to look at soon
	High                   // heat has been cut
)

var priorityNames = [...]string{"low", "medium", "high"}

// String returns the priority in words.
func (p Priority) String() string { return priorityNames[p] }

func priorityOf(s guard.Severity) Priority {
	switch s {
	case guard.Trip:
		return High
	case guard.Warning:
		return Medium
	}
	return Low
}

// Key names an alarm: a finding of the guard, and the pot it is about.
type Key struct {
	Code guard.Code
	Pot  int // an index, or -1 for the bench
}

// Alarm is one alarm as it stands.
type Alarm struct {
	Key
	State    State
	Priority Priority
	// Present is true while its cause is there.
	Present bool
	// First is true for the first of the alarms that came without a moment of calm
	// between them: the one to look at first.
	First bool
	// Since is the bench time at which it last occurred, Order counts occurrences.
	Since time.Duration
	Order uint64
	// Until is the bench time at which it is no longer set aside by a person.
	Until time.Duration
}

// Change is one line of the alarm journal.
type Change struct {
	Key
	From, To State
	At       time.Duration // bench time
}

const (
	// offDelay is how long a cause must be gone before a warning returns to normal, so
	// that it does not chatter (E; 60 s is the usual starting point for large plants).
	offDelay = 5 * time.Second
	// MostShelved is the longest time an alarm can be shelved, MostOutOfService the
	// longest it can be out of service.
	MostShelved      = control.MostSetAside
	MostOutOfService = control.MostOutOfService
)

// List is every alarm of a bench. It is safe for use by several goroutines.
type List struct {
	mu      sync.Mutex
	alarms  map[Key]*entry
	order   uint64
	now     time.Duration
	heat    control.HeatState
	recent  []time.Duration // when somebody was called, for the rate
	journal []Change        // since it was last drained
}

type entry struct {
	Alarm
	latched bool          // the guard says so
	gone    time.Duration // how long the cause has been gone
}

// NewList returns an empty list.
func NewList() *List { return &List{alarms: map[Key]*entry{}} }

// The errors of what a person asks for.
var (
	ErrNone      = errors.New("there is no such alarm now")
	ErrHigh      = errors.New("heat has been cut: this alarm can not be set aside; find the cause and reset at the bench")
	ErrBenchOnly = errors.New("alarms are worked through at the bench's own computer; ALL OFF works from here")
	ErrNeeded    = errors.New("this alarm is needed while anything is hot, and can not be set aside")
	ErrInService = errors.New("this alarm can be set aside for a while, and not be taken out of service: no device mends what it tells of")
	ErrTooLong   = fmt.Errorf("shelve it for at most %.0f minutes", MostShelved.Minutes())
)

// See takes in a frame.
func (l *List) See(f *control.Frame) {
	l.mu.Lock()
	defer l.mu.Unlock()
	elapsed := max(0, f.Time-l.now)
	l.now = f.Time
	anew := f.Heat == control.HeatEnabled && l.heat != control.HeatEnabled
	l.heat = f.Heat
	l.forgetOld()
	if len(f.Conditions) == 0 && len(f.Folded) == 0 && len(l.alarms) == 0 {
		return
	}
	found, folded := map[Key]guard.Condition{}, map[Key]bool{}
	for _, c := range f.Folded {
		folded[Key{c.Code, c.Pot}] = true
	}
	for _, c := range slices.Concat(f.Conditions, f.Folded) {
		k := Key{c.Code, c.Pot}
		found[k] = c
		if l.alarms[k] == nil {
			l.alarms[k] = &entry{Alarm: Alarm{Key: k, Priority: priorityOf(c.Severity)}}
		}
	}
	for _, e := range l.sorted() {
		if e.State == OutOfService && anew {
			e.Until = l.now // a new session begins with everything in service
		}
		l.fold(e, folded[e.Key])
		c, is := found[e.Key]
		l.update(e, is && c.Active, is && c.Latched, elapsed)
	}
}

// fold suppresses what another alarm brings about, and takes it up again after that.
// What a person has set aside stays there.
func (l *List) fold(e *entry, folded bool) {
	switch {
	case folded && !e.State.Aside():
		l.move(e, setAside, Suppressed)
	case !folded && e.State == Suppressed:
		l.move(e, takenUp, 0)
	}
}

// update moves one alarm on by what the guard says of it now.
func (l *List) update(e *entry, active, latched bool, elapsed time.Duration) {
	present := active
	if !active && e.Present && !latched && e.Priority < High {
		e.gone += elapsed
		present = e.gone < offDelay
	} else {
		e.gone = 0
	}
	wasLatched := e.latched
	e.latched = latched || e.latched && active
	if (e.State == Shelved || e.State == OutOfService) && l.now >= e.Until {
		l.move(e, takenUp, 0)
	}
	switch {
	case present && !e.Present:
		e.Present = true
		l.occur(e)
	case !present && e.Present:
		e.Present = false
		l.move(e, clears, 0)
	}
	if wasLatched && !latched && !active {
		// Whoever resets at the bench has seen it.
		e.latched = false
		l.move(e, acknowledged, 0)
		l.move(e, reset, 0)
	}
}

// occur is move for a cause that has come, with its place in the order.
func (l *List) occur(e *entry) {
	calm := !slices.ContainsFunc(l.sorted(), func(o *entry) bool {
		return o.Key != e.Key && o.State != Normal && !o.State.Aside() && o.Priority > Low
	})
	l.order++
	e.Order, e.Since, e.First = l.order, l.now, calm && e.Priority > Low
	l.move(e, occurs, 0)
	if e.Priority == Low {
		l.move(e, acknowledged, 0) // a note asks for nothing: it is there while its cause is
	}
}

// mostJournal is how many changes wait for whoever writes them down.
const mostJournal = 1000

// move changes the state of an alarm, writes that down, and forgets an alarm that
// is normal again.
func (l *List) move(e *entry, by event, to State) {
	from := e.State
	e.State = from.next(by, e.latched, e.Present, to)
	if e.State == from {
		return
	}
	if e.State == Unacknowledged && e.Priority > Low {
		l.recent = append(l.recent, l.now)
	}
	if e.State == Normal && !e.Present && !e.latched {
		delete(l.alarms, e.Key)
	}
	if len(l.journal) < mostJournal {
		l.journal = append(l.journal, Change{e.Key, from, e.State, l.now})
	}
}

// Drain hands over what has changed since it was last called.
func (l *List) Drain() []Change {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := l.journal
	l.journal = nil
	return all
}

// sorted are the alarms, the highest priority first, then in the order they came.
func (l *List) sorted() []*entry {
	all := make([]*entry, 0, len(l.alarms))
	for _, e := range l.alarms {
		all = append(all, e)
	}
	slices.SortFunc(all, func(a, b *entry) int {
		return cmp.Or(-cmp.Compare(a.Priority, b.Priority), cmp.Compare(a.Order, b.Order),
			cmp.Compare(a.Code, b.Code), cmp.Compare(a.Pot, b.Pot))
	})
	return all
}

// Now lists every alarm that is not normal, those set aside at the end.
func (l *List) Now() []Alarm {
	l.mu.Lock()
	defer l.mu.Unlock()
	var all, aside []Alarm
	for _, e := range l.sorted() {
		switch {
		case e.State == Normal:
		case e.State.Aside():
			aside = append(aside, e.Alarm)
		default:
			all = append(all, e.Alarm)
		}
	}
	return append(all, aside...)
}

// Acknowledge says that somebody at the bench has seen an alarm. It clears nothing.
func (l *List) Acknowledge(k Key) error {
	return l.ask(k, acknowledged, func(*entry) (State, error) { return 0, nil })
}

// maySetAside refuses alarms that nobody should do without.
func (e *entry) maySetAside() error {
	switch {
	case e.Priority == High:
		return ErrHigh
	case !e.Code.MaySetAside():
		return ErrNeeded
	}
	return nil
}

// Shelve sets an alarm aside for a time, above zero and up to MostShelved, once tell has
// told lamp and buzzer. An error of tell leaves everything as it is.
func (l *List) Shelve(k Key, d time.Duration, tell func() error) error {
	return l.ask(k, setAside, func(e *entry) (State, error) {
		if err := e.maySetAside(); err != nil {
			return 0, err
		}
		if d <= 0 || d > MostShelved {
			return 0, ErrTooLong
		}
		return Shelved, l.aside(e, d, tell)
	})
}

// TakeOut takes an alarm out of service, until it is put back, heat is enabled anew or
// MostOutOfService is over, once tell has told lamp and buzzer.
func (l *List) TakeOut(k Key, tell func() error) error {
	return l.ask(k, setAside, func(e *entry) (State, error) {
		if err := e.maySetAside(); err != nil {
			return 0, err
		}
		if !e.Code.MayTakeOut() {
			return 0, ErrInService
		}
		return OutOfService, l.aside(e, MostOutOfService, tell)
	})
}

// aside sets for how long, unless lamp and buzzer can not be told: what sounds must be
// in the list.
func (l *List) aside(e *entry, d time.Duration, tell func() error) error {
	if err := tell(); err != nil {
		return err
	}
	e.Until = l.now + d
	return nil
}

// PutBack takes an alarm up again that was set aside.
func (l *List) PutBack(k Key) error {
	return l.ask(k, takenUp, func(*entry) (State, error) { return 0, nil })
}

// ask moves an alarm by what a person wants, if it may be.
func (l *List) ask(k Key, by event, may func(*entry) (State, error)) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	e := l.alarms[k]
	if e == nil || e.State == Normal {
		return ErrNone
	}
	to, err := may(e)
	if err != nil {
		return err
	}
	l.move(e, by, to)
	return nil
}

// What a person can bear (EEMUA 191 figures, from memory): about one call in ten
// minutes is fine, two can be managed, more than ten are a flood.
const (
	RateOver = 10 * time.Minute
	RateFine = 1
	RateMost = 2
	Flood    = 10
)

// Rate is how often somebody was called in the last RateOver.
func (l *List) Rate() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.recent)
}

func (l *List) forgetOld() {
	for len(l.recent) > 0 && l.recent[0] < l.now-RateOver {
		l.recent = l.recent[1:]
	}
}
