package shot

import (
	"encoding/json"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/dose"
	"meltwarden/daemon/frames"
)

// Heat is what a potful has had in one run.
type Heat struct {
	dose.Heat
	// CuredS are the seconds above dose.HotC since it was cured in this run.
	CuredS float64

	cured bool
}

// UnknownHeat is that of a potful of which nobody knows what it has had.
func UnknownHeat() (h Heat) {
	h.UnknownS = math.Inf(1)
	return h
}

// See takes in a cycle: what the melt probe shows, where the pot stands and how long the
// cycle took. A melt that is estimated is not measured, and counts as unknown.
func (h *Heat) See(melt frames.Figure, s control.PotState, elapsed time.Duration) {
	h.Add(float64(melt), elapsed)
	h.cured = h.cured || s == control.Cooling || s == control.Holding || s == control.Ready
	if h.cured && float64(melt) >= dose.HotC {
		h.CuredS += elapsed.Seconds()
	}
}

// DoseMin is the heat dose in equal minutes for an activation energy in kJ/mol, unknown
// where too much of the time is.
func (h *Heat) DoseMin(kJ float64) frames.Figure {
	if !h.Known() {
		return frames.Unknown()
	}
	return frames.Figure(h.Minutes(kJ))
}

// settled is the heat as it can be kept.
func (h *Heat) settled() Heat { return Heat{Heat: h.Settled(), CuredS: h.CuredS} }

// Plus is this heat and another one together.
func (h *Heat) Plus(o Heat) Heat {
	return Heat{Heat: h.Heat.Plus(o.Heat), CuredS: h.CuredS + o.CuredS}
}

// keptHeat is a heat as JSON: seconds at whole degrees, the first of them FromC.
type keptHeat struct {
	FromC    int           `json:"from_c"`
	S        []float64     `json:"s"` // to a millisecond
	UnknownS frames.Figure `json:"unknown_s"`
	CuredS   float64       `json:"cured_s"`
}

// JSONShape is the type that JSON has it as.
func (Heat) JSONShape() any { return keptHeat{} }

// MarshalJSON implements json.Marshaler; degrees at which the melt has not been are left
// out at both ends.
func (h Heat) MarshalJSON() ([]byte, error) {
	settled := h.Settled()
	k := keptHeat{S: []float64{}, UnknownS: frames.Figure(settled.UnknownS), CuredS: toMillis(h.CuredS)}
	for c, s := range settled.S {
		if len(k.S) == 0 && s == 0 {
			k.FromC = c + 1
			continue
		}
		k.S = append(k.S, toMillis(s))
	}
	for len(k.S) > 0 && k.S[len(k.S)-1] == 0 {
		k.S = k.S[:len(k.S)-1]
	}
	return json.Marshal(k)
}

func toMillis(s float64) float64 { return math.Round(1000*s) / 1000 }

// UnmarshalJSON implements json.Unmarshaler. What can not be is unknown time.
func (h *Heat) UnmarshalJSON(text []byte) error {
	var k keptHeat
	if err := json.Unmarshal(text, &k); err != nil {
		return err
	}
	*h = Heat{CuredS: k.CuredS}
	h.UnknownS = float64(k.UnknownS)
	for i, s := range k.S {
		at := k.FromC + i
		if at < 0 || at >= len(h.S) || !(s >= 0) {
			h.UnknownS = math.Inf(1)
			break
		}
		h.S[at] = s
	}
	return nil
}
