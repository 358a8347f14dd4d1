package view

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/frames"
	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/modbus"
)

// SerialLines are the bench's serial lines, and how its devices answer on them.
type SerialLines struct {
	Lines []SerialLine `json:"lines"`
}

// SerialLine is one of them.
type SerialLine struct {
	Name string `json:"name"`
	// Open says whether the port is open, Why what went wrong with it last, which stays when
	// it is open again.
	Open bool   `json:"open"`
	Why  string `json:"why,omitempty"`
	// Since is when the port was opened, lost, or first tried.
	Since time.Time `json:"since"`
	// Port is the name under which the port is open or was last; empty where it is not known.
	Port string `json:"port"`
	// Adapter is what that is on, in words; empty where it is not known.
	Adapter string `json:"adapter"`
	// Lost is how often the port was lost after it was open, since the program began.
	Lost uint64 `json:"lost"`
	// Cause is why the port is not open, in one word: unclear, absent, pulled, held, several,
	// exchanged, uncommissioned or forbidden; it is empty while it is open.
	Cause string `json:"cause"`
	// Do is what to do about that.
	Do string `json:"do"`
	// CycleMs is what a cycle takes on the line in the mean, by the formula, FullestMs the
	// fullest one, and PeriodMs the time there is; null where the bench file is not known.
	CycleMs   Figure `json:"cycle_ms"`
	FullestMs Figure `json:"fullest_ms"`
	PeriodMs  Figure `json:"period_ms"`
	// Budget is the same in words, with what to change where the line does not keep up.
	Budget  []string       `json:"budget"`
	Devices []SerialDevice `json:"devices"`
}

// Asked reports whether anything was asked on the line.
func (l SerialLine) Asked() bool {
	return slices.ContainsFunc(l.Devices, func(d SerialDevice) bool { return d.Exchanges > 0 })
}

// Where says under which name the port is open, which adapter that is, as far as known, and
// how often it was lost.
func (l SerialLine) Where() string {
	said := fmt.Sprintf(texts.SerialOn, l.Port, l.Adapter)
	switch {
	case l.Port == "":
		said = texts.SerialOpen
	case l.Adapter == "":
		said = fmt.Sprintf(texts.SerialAt, l.Port)
	}
	return said + l.losses()
}

// Shut says since when the port is not open, what to do, and how often it was lost.
func (l SerialLine) Shut() string {
	return strings.TrimSpace(fmt.Sprintf(texts.ShutSince, l.Since.Local().Format(time.TimeOnly))+" "+l.Do) + l.losses()
}

// losses says how often the line was lost; of one that never was, nothing.
func (l SerialLine) losses() string {
	switch l.Lost {
	case 0:
		return ""
	case 1:
		return " " + texts.LostOnce
	}
	return " " + fmt.Sprintf(texts.LostOften, l.Lost)
}

// SerialDevice is how one device answers. Counts are since the program began, times of the
// last exchanges.
type SerialDevice struct {
	Name string `json:"name"`
	// Unit is the device's number on the line, 1 to 247.
	Unit int `json:"unit"`
	// Exchanges are those that were made with it, Good those that it answered as it should.
	Exchanges uint64 `json:"exchanges"`
	Good      uint64 `json:"good"`
	// Dead says that it has not answered for several requests, and is asked once a second.
	Dead bool `json:"dead"`
	// State is how it does in words.
	State string `json:"state"`
	// MedianMs and WorstMs are the round trips of the last TimesOf exchanges that it
	// answered, TurnMs what of the median one was not the frames on the wire; null before the
	// first, and TurnMs also where the line is faster than its speed says, as one in memory is.
	MedianMs Figure    `json:"median_ms"`
	WorstMs  Figure    `json:"worst_ms"`
	TurnMs   Figure    `json:"turn_ms"`
	TimesOf  int       `json:"times_of"`
	Troubles []Trouble `json:"troubles"`
	// SetpointsWritten is how often a controller was sent a set-point since the program began:
	// its memory may wear.
	SetpointsWritten uint64 `json:"setpoints_written"`
}

// Trouble is what was wrong with exchanges, and what that may come from.
type Trouble struct {
	Kind string `json:"kind"`
	// Count is how often, MayBe what it commonly comes from: a guess, no finding.
	Count uint64 `json:"count"`
	MayBe string `json:"may_be"`
}

// SerialOf tells how lines do. The plan is what they have to do in a cycle, by their
// names; one that is not planned is told without.
func SerialOf(s devices.Stats, plan []budget.Line) SerialLines {
	all := SerialLines{Lines: []SerialLine{}}
	for _, l := range s.Lines {
		one := SerialLine{
			Name: l.Name, Open: l.Open, Why: l.LastError, Since: l.At, Port: l.Port, Adapter: l.Adapter, Lost: l.Lost, Cause: string(l.Cause), Do: whatOfShut[l.Cause], Budget: []string{}, Devices: []SerialDevice{},
			CycleMs: frames.Unknown(), FullestMs: frames.Unknown(), PeriodMs: frames.Unknown(),
		}
		if i := slices.IndexFunc(plan, func(b budget.Line) bool { return b.Name == l.Name }); i >= 0 {
			b := plan[i]
			one.CycleMs, one.FullestMs, one.PeriodMs, one.Budget = inMs(b.Mean), inMs(b.Cycle), inMs(b.Period), BudgetWords(b)
		}
		for _, d := range s.Devices {
			if d.Line == l.Name {
				one.Devices = append(one.Devices, serialDevice(d))
			}
		}
		all.Lines = append(all.Lines, one)
	}
	return all
}

// InMs is a time in milliseconds in words.
func InMs(f Figure) string {
	if !f.Known() {
		return dash
	}
	return fmt.Sprintf("%.1f ms", float64(f))
}

func inMs(d time.Duration) Figure { return Figure(d.Seconds() * 1000) }

func serialDevice(d devices.DeviceStats) SerialDevice {
	one := SerialDevice{
		Name: d.Name, Unit: int(d.Unit), Good: d.Exchanges[modbus.OK], Dead: d.Dead, TimesOf: d.Times.Of,
		MedianMs: frames.Unknown(), WorstMs: frames.Unknown(), TurnMs: frames.Unknown(), Troubles: []Trouble{},
	}
	for _, n := range d.Exchanges {
		one.Exchanges += n
	}
	if d.Times.Of > 0 {
		one.MedianMs, one.WorstMs = inMs(d.Times.Median), inMs(d.Times.Worst)
	}
	if d.Times.Turn > 0 {
		one.TurnMs = inMs(d.Times.Turn)
	}
	for _, k := range modbus.Kinds() {
		if n := d.Troubles[k]; n > 0 {
			one.Troubles = append(one.Troubles, Trouble{k.String(), n, mayBe[k]})
		}
	}
	one.SetpointsWritten = d.Setpoints
	one.State = serialState(one)
	if d.Setpoints > 0 {
		one.State += fmt.Sprintf(controllerTexts.writes, d.Setpoints)
	}
	return one
}

// serialState is how a device does, in words.
func serialState(d SerialDevice) string {
	l := Texts()
	switch {
	case d.Exchanges == 0:
		return l.NotAskedYet
	case d.Dead:
		return l.NoAnswerNow
	case d.Good == 0:
		return l.NeverGood
	case d.Good == d.Exchanges:
		return l.AllGood
	}
	return fmt.Sprintf(l.SomeBad, d.Exchanges-d.Good, d.Exchanges)
}

// TurnsOf are the turn-rounds that were measured. On a line that is faster than its speed
// says, as one in memory is, there are none.
func TurnsOf(s devices.Stats) budget.Turns {
	all := budget.Turns{}
	for _, d := range s.Devices {
		if d.Times.Turn > 0 {
			all[d.Name] = d.Times.Turn
		}
	}
	return all
}

// BudgetWords say whether a line keeps up with its bench, by which figures, and what to
// change where it does not.
func BudgetWords(b budget.Line) []string {
	if b.Exchanges == 0 {
		return []string{texts.LineIdle}
	}
	verdict := texts.LineFits
	if !b.Fits() {
		verdict = texts.LineFull
	}
	words := []string{
		fmt.Sprintf(verdict, tenth(b.Mean), wholeMs(b.Period), b.Rate(), 1/b.Period.Seconds()),
		fmt.Sprintf(texts.LineSum, b.Exchanges, b.Characters, b.Bits, b.Baud, tenth(b.Wire), tenth(b.Turns), tenth(b.Silence), tenth(b.Cycle)),
	}
	if len(b.Assumed) > 0 {
		words = append(words, fmt.Sprintf(texts.LineAssumed, strings.Join(b.Assumed, ", "), budget.OwnTime.Milliseconds()))
	}
	for _, c := range b.Changes {
		words = append(words, changeWords(c, b))
	}
	if !b.Fits() && !slices.ContainsFunc(b.Changes, func(c budget.Change) bool { return c.Mean <= b.Period }) {
		words = append(words, texts.LineNoOneWay)
	}
	return words
}

func changeWords(c budget.Change, b budget.Line) string {
	then := fmt.Sprintf(texts.LineThen, tenth(c.Mean))
	if c.Mean > b.Period {
		then = fmt.Sprintf(texts.LineThenStill, tenth(c.Mean))
	}
	switch c.Way {
	case budget.Faster:
		return fmt.Sprintf(texts.LineFaster, c.Baud, then)
	case budget.Join:
		return fmt.Sprintf(texts.LineJoin, c.MaxGap, c.Device, then)
	}
	return fmt.Sprintf(texts.LineOwn, c.Device, then)
}

func tenth(d time.Duration) string { return fmt.Sprintf("%.1f ms", d.Seconds()*1000) }

func wholeMs(d time.Duration) string { return fmt.Sprintf("%d ms", d.Milliseconds()) }
