package control

import (
	"time"

	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/injector"
	"meltwarden/control/loop"
	"meltwarden/control/reading"
)

// Settings are what a bench file and a recipe come to: all that Step may rely
// on besides its inputs. They do not change during a run.
type Settings struct {
	// Period is the time between cycles.
	Period  time.Duration
	Pots    []PotSettings
	Circuit circuit.Rating
	Limits  guard.Limits
	// PedalMarksShot is true where a short press of the pedal marks a shot, which is a
	// command, and a press of guard.LongPress and more silences. Otherwise any press silences.
	PedalMarksShot bool `json:",omitzero"`
	// Lids are the pots whose lid is read, "" being one over the bench. Step does not go by
	// them.
	Lids []string `json:",omitempty"`
	// Injector is what the melts are drawn into. Step does not go by it: it is for what is
	// reckoned of a draw, now and when the run is looked at again.
	Injector injector.Injector `json:",omitzero"`
}

// PotSettings are one pot's share of the settings: its place on the bench and
// its colour in the recipe. Temperatures are in degrees Celsius.
type PotSettings struct {
	Name   string // the pot's name on the bench
	Colour string // the colour's name in the recipe
	// HeaterW is the heater's rated power in watts.
	HeaterW float64
	// Output is what the heater draws while it is told a duty; Window is that of a
	// circuit.Switched one.
	Output circuit.Output
	Window time.Duration
	// LeastOn and LeastOff are for how long a circuit.Switched one stays on, and off, at the
	// least; zero is a twentieth of the window.
	LeastOn, LeastOff time.Duration `json:",omitzero"`
	// VolumeML is the volume of liquid vinyl in millilitres.
	VolumeML float64
	// SetpointC is the injection temperature; BandC is how far from it, either
	// way, still counts as right.
	SetpointC, BandC float64
	// CureC is the temperature the melt must reach, Dwell how long it must stay.
	CureC float64
	Dwell time.Duration
	// SteadyFor is how long the melt must have been in band to be called ready.
	SteadyFor time.Duration
	// StirWithin is how fresh the last stir must be to be called ready.
	StirWithin time.Duration
	// PlateLimitC is the highest plate temperature the loop may ask for.
	PlateLimitC float64
	// Probes are those that the pot has. HandWithin is how long heat rests on a hand-held
	// reading of a melt without one, zero is four minutes; MostW is the most that a
	// heater has in the mean whose plate has none, in watts, and zero goes by the volume.
	Probes     reading.Probes `json:",omitempty"`
	HandWithin time.Duration  `json:",omitempty"`
	MostW      float64        `json:",omitempty"`
	// Controller is the device that holds the plate by itself; its zero is none.
	Controller Controller `json:",omitzero"`
	// Known is what was found out about the pot on earlier evenings; nil is nothing.
	Known *loop.Known `json:",omitempty"`
	// FirstHeat is what the pot goes through in place of an evening; zero is an evening.
	FirstHeat FirstHeat `json:",omitzero"`
}

// LoopPot is the pot as its loop knows it before it has ever been heated.
func (s *PotSettings) LoopPot() loop.Pot {
	return loop.Pot{HeaterW: s.HeaterW, MeltJPerK: s.VolumeML * MeltJPerMLK, PlateLimitC: s.PlateLimitC, Probes: s.Probes}
}
