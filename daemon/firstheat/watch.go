package firstheat

import (
	"fmt"
	"math"
	"strings"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// The times of a session, of the bench. Grades: C common practice, E estimate.
const (
	answerWait  = 10 * time.Second // E: until every reading is there
	calmFor     = 3 * time.Second  // E: what is wrong with a reading shows by then
	pressWait   = 10 * time.Minute // C: as commissioning waits
	remindEvery = 30 * time.Second
	tellEvery   = 15 * time.Second
	// coldBelowC is what a melt may have: a warmer one has too little to rise; coldApartC is
	// how far its plate may be from it (E: as cold probes agree).
	coldBelowC, coldApartC = 33.0, 4.0
)

// watch follows the bench's frames.
type watch struct {
	*session
	last    *frames.Frame
	asks    bool          // the press has been asked for,
	asked   time.Duration // then
	next    time.Duration // when something is said again
	pressed bool
	told    string
	began   time.Duration
}

// see takes in a frame, and reports whether the first heat is over, or what ended it.
func (w *watch) see(f *frames.Frame) (ended bool, err error) {
	w.last = f
	switch {
	case f.Heat == control.HeatEnabled && !w.pressed:
		if err := w.cold(f); err != nil {
			return false, err
		}
		w.pressed, w.began, w.next = true, f.Time, f.Time+tellEvery
		w.say("  Heat is on. Melt (and plate) of each pot, in °C:\n")
	case w.pressed && f.Heat != control.HeatEnabled:
		return false, fmt.Errorf("heat is off: %s. Nothing is kept of a pot that had not come to its end", because(f))
	case !w.pressed:
		return false, w.await(f)
	}
	for i, p := range f.Pots {
		if p.State == control.Tripped && w.settings.Pots[i].FirstHeat.For > 0 {
			return false, fmt.Errorf("pot %s has tripped, and everything was switched off: %s", w.settings.Pots[i].Name, because(f))
		}
	}
	if f.Time >= w.next {
		w.next += tellEvery
		w.say("  %2.0f:%02.0f  %s\n", math.Floor((f.Time - w.began).Minutes()), math.Mod((f.Time-w.began).Seconds(), 60), w.temperatures(f))
	}
	return w.over(f), nil
}

// over reports whether every pot has come to its end.
func (w *watch) over(f *frames.Frame) bool {
	for _, p := range f.Pots {
		if p.Warming == control.Warms {
			return false
		}
	}
	return true
}

// await asks for the press, once the bench is seen to be cold and well, and again.
func (w *watch) await(f *frames.Frame) error {
	if !w.asks {
		err := w.cold(f)
		if f.Time < calmFor || f.Time < answerWait && err != nil {
			return nil
		}
		if err != nil {
			return err
		}
		w.asks, w.asked, w.next = true, f.Time, f.Time+remindEvery
		w.say("Press the bench's enable button for about a second and let it go. Nothing is heated before.\n")
	}
	if wrong := because(f); wrong != w.told {
		if w.told = wrong; wrong != "" {
			w.say("  Not now: %s.\n", wrong)
		} else {
			w.say("  Well again: press now.\n")
		}
	}
	switch {
	case f.Time > w.asked+pressWait:
		return fmt.Errorf("nobody pressed the enable button within %.0f minutes; nothing was heated: run the command again", pressWait.Minutes())
	case f.Time >= w.next:
		w.next += remindEvery
		w.say("  Still waiting for a press of about a second.\n")
	}
	return nil
}

// cold says why the pots that are to be warmed are not cold.
func (w *watch) cold(f *frames.Frame) error {
	for i := range f.Pots {
		p, name := &f.Pots[i], w.settings.Pots[i].Name
		if w.settings.Pots[i].FirstHeat.For <= 0 {
			continue
		}
		switch {
		case !p.Melt.Usable(guard.MaxAge) || !p.Plate.Usable(guard.MaxAge):
			return fmt.Errorf("pot %s: its probes can not be read (melt: %s, plate: %s): meltwarden check shows every channel", name, p.Melt.Fault, p.Plate.Fault)
		case p.Melt.C > coldBelowC:
			return fmt.Errorf("pot %s is at %.0f °C: let it cool below %.0f °C, and run the command again", name, p.Melt.C, coldBelowC)
		case math.Abs(p.Melt.C-p.Plate.C) > coldApartC:
			return fmt.Errorf("pot %s is not at rest: its melt reads %.1f °C and its plate %.1f °C, at most %.0f °C apart is right. Let it cool, or calibrate its probes", name, p.Melt.C, p.Plate.C, coldApartC)
		}
	}
	return nil
}

// because lists what keeps heat away, in words; nothing where nothing does.
func because(f *frames.Frame) string {
	var all []string
	for _, c := range f.Conditions {
		if c.Severity == guard.Trip || c.Code.Rule().Action >= guard.Inhibit {
			all = append(all, strings.ToLower(c.Code.Title()[:1])+c.Code.Title()[1:])
		}
	}
	if len(all) == 0 && f.AllOff {
		return "somebody asked for it"
	}
	return strings.Join(all, "; ")
}

// temperatures are what the pots that are warmed are at.
func (w *watch) temperatures(f *frames.Frame) string {
	var all []string
	for i, p := range f.Pots {
		switch p.Warming {
		case control.Warms:
			all = append(all, fmt.Sprintf("%s %.1f (%.0f)", w.settings.Pots[i].Name, p.MeltC, p.Plate.C))
		case control.LeftCold:
		default:
			all = append(all, fmt.Sprintf("%s %s", w.settings.Pots[i].Name, p.Warming))
		}
	}
	return strings.Join(all, ", ")
}
