package reading

// Probes says which of its two probes a pot has. The zero value is both, so that what
// says nothing of it is never taken for a pot that needs less.
type Probes uint8

// The ways a pot can be read.
const (
	BothProbes Probes = iota
	// PlateOnly is a pot whose melt nobody reads, but a person by hand.
	PlateOnly
	// MeltOnly is a pot whose plate nobody reads.
	MeltOnly
)

// HasMelt reports whether the melt is read.
func (p Probes) HasMelt() bool { return p != PlateOnly }

// HasPlate reports whether the plate is read.
func (p Probes) HasPlate() bool { return p != MeltOnly }
