package view

import (
	"fmt"
	"strings"

	"meltwarden/devices"
	"meltwarden/devices/registers"
)

// outputNames are what roles of outputs are called; one that is not here has its role's name.
var outputNames = map[registers.Role]string{registers.Setpoint: "set-point"}

// HeatMayBeOn says by which outputs heat may be on, of a bench that is only read, with what to
// do; nil where all of them read back as off.
func HeatMayBeOn(outputs []devices.Output) (words []string) {
	var on, unknown []devices.Output
	for _, h := range outputs {
		switch {
		case !h.MayHeat():
		case h.On == nil:
			unknown = append(unknown, h)
		default:
			on = append(on, h)
		}
	}
	if on != nil {
		words = append(words, fmt.Sprintf(serialLabels.HeatReadsOn, heldList(on)))
	}
	if unknown != nil {
		words = append(words, fmt.Sprintf(serialLabels.HeatNotRead, heldList(unknown)))
	}
	return words
}

// OutputsHeld says what all outputs read back as; it is empty where there are none.
func OutputsHeld(outputs []devices.Output) string {
	if len(outputs) == 0 {
		return ""
	}
	return fmt.Sprintf(serialLabels.OutputsHeld, heldList(outputs))
}

func heldList(all []devices.Output) string {
	var said []string
	for _, h := range all {
		name := string(h.Role)
		if other, is := outputNames[h.Role]; is {
			name = other
		}
		if h.Pot != "" {
			name += " of pot " + h.Pot
		}
		said = append(said, fmt.Sprintf("%s (%s)", name, h.Value))
	}
	return strings.Join(said, ", ")
}
