package guess

import (
	"fmt"
	"math"

	"meltwarden/devices/registers"
)

// Row is a register as it reads now, in every type, and what of that could be a temperature.
type Row struct {
	Register
	Read bool   `json:"read"` // in the last round
	Raw  uint16 `json:"raw"`
	// Numbers are what it reads as, with the register after it where a type needs two.
	Numbers []Number `json:"numbers"`
	// Fits are the ways to read it by which it is at the room's temperature, or has been at
	// rest.
	Fits []Fit `json:"fits"`
}

// Number is a register in one type.
type Number struct {
	Type  registers.Type  `json:"type"`
	Words registers.Order `json:"words"`
	Raw   float64         `json:"raw"`
}

// Fit is a way to read a register as a temperature.
type Fit struct {
	Layout Layout   `json:"layout"`
	C      *float64 `json:"c"` // null where it is no measurement now
	// Moved is warmed or fell, of one that has moved as a probe in a hand does.
	Moved string `json:"moved,omitempty"`
}

// Rows are all registers that were read.
func (w *Watch) Rows() (rows []Row) {
	if w.rounds == 0 {
		return nil
	}
	candidates := w.candidates
	if candidates == nil {
		candidates = w.plausible()
	}
	for _, at := range w.places() {
		c := w.columns[at]
		row := Row{Register: at, Read: c.read[w.rounds-1], Raw: c.raw[w.rounds-1]}
		if row.Read {
			row.Numbers = w.numbers(at)
			for _, c := range candidates {
				if c.layout.Function == at.Function && c.address == at.Address {
					row.Fits = append(row.Fits, w.fit(c))
				}
			}
		}
		rows = append(rows, row)
	}
	return rows
}

func (w *Watch) fit(c *candidate) Fit {
	f := Fit{Layout: c.layout}
	if now := c.c[len(c.c)-1]; c.possible(now) {
		f.C = &now
	}
	for _, of := range w.warmings {
		switch c.moves(of.from, w.end(of)) {
		case warms:
			f.Moved = "warmed"
		case falls:
			f.Moved = "fell"
		}
	}
	return f
}

// numbers are what a register reads as, in the standard's order of bytes.
func (w *Watch) numbers(at Register) (all []Number) {
	for _, t := range []registers.Type{registers.Int16, registers.Uint16, registers.Int32, registers.Float32} {
		for _, words := range []registers.Order{registers.HighFirst, registers.LowFirst} {
			l := Layout{at.Function, t, words, registers.HighFirst, 1, registers.Celsius}
			regs, ok := w.regs(l, at.Address, w.rounds-1)
			if !ok || len(regs) == 1 && words == registers.LowFirst {
				continue
			}
			if raw := l.raw(regs); !math.IsNaN(raw) {
				all = append(all, Number{t, words, raw})
			}
		}
	}
	return all
}

// String is the fit in words: what it did in a hand, or that it may be a probe at rest.
func (f Fit) String() string {
	did := map[string]string{"": "room?", "warmed": "WARMED", "fell": "FELL: leads swapped?"}[f.Moved]
	if f.C == nil {
		return fmt.Sprintf("%s no measurement as %s", did, f.Layout)
	}
	return fmt.Sprintf("%s %.1f °C as %s", did, *f.C, f.Layout)
}
