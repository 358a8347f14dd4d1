package demo

import (
	"math"
	"sync"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/devices/simbench"
)

// Verdict is how a demo has gone so far, by the simulated bench's own truth.
type Verdict struct {
	Ready    bool    `json:"ready"`
	ElapsedS float64 `json:"elapsed_s"` // bench time
	// Tripped is the first reason for which heat is off until a person resets it;
	// "" when there is none.
	Tripped string       `json:"tripped,omitempty"`
	Pots    []PotVerdict `json:"pots"`
}

// PotVerdict is one pot of a verdict. Temperatures are in degrees Celsius.
type PotVerdict struct {
	Name      string  `json:"name"`
	Colour    string  `json:"colour"`
	SetpointC float64 `json:"setpoint_c"`
	MeltC     float64 `json:"melt_c"` // the true melt
	// OvershootC is how far the true melt was ever above what it was meant to be:
	// the cure target until the pot was cured and had come down to its set-point,
	// the set-point from then on.
	OvershootC float64 `json:"overshoot_c"`
	Ready      bool    `json:"ready"`
}

// judge watches frames beside the truth behind them.
type judge struct {
	mu      sync.Mutex
	bench   *simbench.Bench
	set     []control.PotSettings
	verdict Verdict
	arrived []bool
	cureC   []float64
}

func newJudge(b *simbench.Bench, s control.Settings) *judge {
	j := &judge{bench: b, set: s.Pots, arrived: make([]bool, len(s.Pots)), cureC: make([]float64, len(s.Pots))}
	for _, p := range s.Pots {
		j.verdict.Pots = append(j.verdict.Pots, PotVerdict{
			Name: p.Name, Colour: p.Colour, SetpointC: p.SetpointC, OvershootC: math.Inf(-1),
		})
	}
	return j
}

// arrivedC is how near its set-point a cured melt must have come to be judged by it.
const arrivedC = 0.5

// watch takes in one frame.
func (j *judge) watch(f *frames.Frame) {
	truth := j.bench.Truth()
	j.mu.Lock()
	defer j.mu.Unlock()
	j.verdict.Ready, j.verdict.ElapsedS = f.Ready, f.Time.Seconds()
	if f.Heat == control.HeatTripped && j.verdict.Tripped == "" && len(f.Conditions) > 0 {
		j.verdict.Tripped = f.Conditions[0].Code.Title()
	}
	for i := range f.Pots {
		j.watchPot(i, &f.Pots[i], truth.Pots[i].MeltC)
	}
}

func (j *judge) watchPot(i int, p *control.PotFrame, meltC float64) {
	v := &j.verdict.Pots[i]
	v.MeltC, v.Ready = meltC, p.State == control.Ready
	if !p.Cured {
		j.cureC[i] = p.TargetC
	}
	if p.Cured && math.Abs(meltC-p.SetpointC) <= arrivedC {
		j.arrived[i] = true
	}
	meantC := math.Max(j.cureC[i], p.SetpointC)
	if j.arrived[i] {
		meantC = p.SetpointC
	}
	v.OvershootC = math.Max(v.OvershootC, meltC-meantC)
}

// now returns a copy of the verdict, rounded to what it is worth.
func (j *judge) now() Verdict {
	j.mu.Lock()
	defer j.mu.Unlock()
	v := j.verdict
	v.ElapsedS = round(v.ElapsedS, 10)
	v.Pots = append([]PotVerdict(nil), v.Pots...)
	for i := range v.Pots {
		v.Pots[i].MeltC = round(v.Pots[i].MeltC, 100)
		v.Pots[i].OvershootC = round(math.Max(v.Pots[i].OvershootC, 0), 100)
	}
	return v
}

func round(x, steps float64) float64 { return math.Round(x*steps) / steps }

// Patience is how much bench time a demo gets to become ready.
const Patience = time.Hour
