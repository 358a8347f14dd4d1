package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// ControllerSight is what the guard sees of a device that holds a pot's plate by itself.
type ControllerSight struct {
	Is bool // the pot has one
	// ToldC is what it is told, in degrees Celsius, Since so long ago.
	ToldC float64
	Since time.Duration
	// Setpoint is what it says that it was told; Own is what it reads itself, NotWired where
	// nobody asks for that.
	Setpoint, Own reading.Temperature
}

// Grades as in the table.
const (
	takesFor = 3 * time.Second  // E: so long a controller may take to show what it was told
	otherC   = 1.2              // E: a controller's own rounding is less
	astrayC  = 25.0             // E: two sensors of one plate differ by less, also while it warms
	astray   = 10 * time.Second // E
)

// lookAtController finds a controller that was told something by somebody else, or that does
// not see its plate. That it does not answer, or does not take rest, is the line's to find.
func (g *Guard) lookAtController(p *pot, c *ControllerSight, plate reading.Temperature, elapsed time.Duration) {
	changed := c.Is && c.Since >= takesFor && measured(c.Setpoint) && !(math.Abs(c.Setpoint.C-c.ToldC) <= otherC)
	g.note(p.found, SetpointChanged, changed, elapsed)
	g.note(p.found, ControllerAstray, c.Is && c.astray(plate), elapsed)
}

// astray reports whether the controller's own sensor says otherwise than the plate's probe,
// or nothing. A plate that is not read has its own finding; so has a controller of which
// nothing is heard at all.
func (c *ControllerSight) astray(plate reading.Temperature) bool {
	switch {
	case c.Own.Fault == reading.NotWired || !plate.Usable(MaxAge):
		return false
	case c.Own.Fault == reading.Missing || c.Own.Age > MaxAge:
		return c.Setpoint.Usable(MaxAge)
	case !measured(c.Own):
		return true
	}
	return !(math.Abs(c.Own.C-plate.C) <= astrayC)
}
