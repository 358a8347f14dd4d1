package view

import (
	"fmt"

	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// Controller is the device that holds a pot's plate by itself. Temperatures are in degrees
// Celsius.
type Controller struct {
	// InCharge says who decides, in words for people.
	InCharge Both `json:"in_charge"`
	// ToldC is what it is told, AtRest that this is its rest, Changes how often that has
	// changed since the program began: a run that goes on after a start counts anew.
	ToldC   Figure `json:"told_c"`
	AtRest  bool   `json:"at_rest"`
	Changes uint64 `json:"changes"`
	// SetpointC is what it says that it was told, ReadsC what its own sensor reads; null where
	// that is not read.
	SetpointC Figure `json:"setpoint_c"`
	ReadsC    Figure `json:"reads_c"`
}

// controllerOf is that of a pot, nil where it has none.
func controllerOf(p *control.PotFrame) *Controller {
	c := &p.Controller
	if !c.InCharge {
		return nil
	}
	words := controllerTexts.inCharge
	if c.AtRest {
		words = controllerTexts.rests
	}
	return &Controller{
		InCharge: inBoth(func(u unit) string { return fmt.Sprintf(words, u.whole(Figure(c.ToldC)), u.symbol) }),
		ToldC:    Figure(c.ToldC), AtRest: c.AtRest, Changes: c.Changes,
		SetpointC: frames.Measured(c.Setpoint), ReadsC: frames.Measured(c.Own),
	}
}

// heldBy says what heats the plate of a pot.
func heldBy(p *control.PotFrame, u unit) string {
	c := &p.Controller
	if !c.InCharge {
		return ""
	}
	words := controllerTexts.plateHeld
	if c.AtRest {
		words = controllerTexts.plateRests
	}
	text := fmt.Sprintf(words, plateText(p, u), u.symbol, u.whole(Figure(c.ToldC)), u.symbol)
	if has := frames.Measured(c.Setpoint); has.Known() {
		text += fmt.Sprintf(controllerTexts.has, u.whole(has))
	}
	if reads := frames.Measured(c.Own); reads.Known() {
		text += fmt.Sprintf(controllerTexts.reads, u.whole(reads))
	}
	return text
}
