package devices

// Cause is why a line's port is not open.
type Cause string

// The causes.
const (
	// Unclear: what the system said is all that is known.
	Unclear Cause = "unclear"
	// Absent: the adapter is not plugged in, or no port has the name.
	Absent Cause = "absent"
	// Pulled: it was lost while it was open.
	Pulled Cause = "pulled"
	// Held: another program has it open.
	Held Cause = "held"
	// Several: more than one adapter is what the bench file says.
	Several Cause = "several"
	// Exchanged: another adapter is where the line's own was.
	Exchanged Cause = "exchanged"
	// Uncommissioned: another adapter is there than the line was commissioned with.
	Uncommissioned Cause = "uncommissioned"
	// Forbidden: this program's user may not open it.
	Forbidden Cause = "forbidden"
)

// Trouble is an error of opening a line's port.
type Trouble struct {
	Cause Cause
	// What is the port or the adapter that the cause is about, in words.
	What string
	Err  error
}

// Error implements error.
func (t *Trouble) Error() string { return t.Err.Error() }

// Unwrap implements errors.Unwrap.
func (t *Trouble) Unwrap() error { return t.Err }

// Placed is a port of which it is known where it is: its name of the day, and its adapter
// in words, or "" where that is not known.
type Placed interface {
	Place() (name, adapter string)
}
