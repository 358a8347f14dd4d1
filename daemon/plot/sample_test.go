package plot

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// evening is an invented run: heat-up, cure, hold with noise, shots that take
// melt away, a colour added cold, and some minutes that were not recorded.
func evening(points int) Run {
	const length = 2*time.Hour + 24*time.Minute
	r := Run{
		Title:    "slate eel, run 7",
		Subtitle: "invented data for the simulated bench · recipe version 3",
		Events: []Event{
			{At: 4 * time.Minute, Pot: EveryPot, Kind: "heat enabled"},
			{At: 2*time.Hour + 16*time.Minute, Pot: EveryPot, Kind: "all off"},
			{At: 98 * time.Minute, Pot: 1, Kind: KindTrip, Text: "plate too hot"},
			{At: 108 * time.Minute, Pot: 1, Kind: "reset"},
			{At: 71 * time.Minute, Pot: 2, Kind: KindColour, Text: "red brown 0.5 mL"},
		},
	}
	for i, name := range []string{"left", "middle", "right"} {
		p := Pot{Name: name, Colour: []string{"slate", "ivory", "rust"}[i], SetpointC: []float64{168, 171, 165}[i], BandC: 2}
		p.Points = heated(p.SetpointC, length, points, uint64(i))
		r.Pots = append(r.Pots, p)
		for k := range 4 {
			r.Events = append(r.Events, Event{At: time.Duration(18+16*k+2*i) * time.Minute, Pot: i, Kind: KindStirred})
		}
		r.Events = append(r.Events, Event{At: time.Duration(31+2*i) * time.Minute, Pot: i, Kind: KindClear})
	}
	for shot := range 22 {
		at := 52*time.Minute + time.Duration(shot)*3*time.Minute + time.Duration(shot%3)*41*time.Second
		r.Events = append(r.Events, Event{At: at, Pot: shot % 3, Kind: KindShot, Text: fmt.Sprintf("shot %d", shot+1)})
	}
	return r
}

// heated is a pot with a plate that leads and a melt that follows it.
func heated(setpoint float64, length time.Duration, count int, seed uint64) []Point {
	noise := rand.New(rand.NewPCG(seed, 1))
	melt, plate, duty := 21.0, 21.0, 0.0
	dt := length.Minutes() / float64(count)
	points := make([]Point, count)
	for i := range points {
		at := time.Duration(float64(length) * float64(i) / float64(count))
		target := setpoint
		if at < 36*time.Minute {
			target = 172
		}
		duty = 0
		if at > 4*time.Minute && at < 136*time.Minute && !(seed == 1 && at > 98*time.Minute && at < 108*time.Minute) {
			plateTarget := min(230, target+5+6*(target-melt))
			duty = min(max((plateTarget-plate)*0.04+0.05+0.02*noise.NormFloat64(), 0), 1)
		}
		plate += dt * (duty*42 - (plate-melt)*0.22 - (plate-21)*0.012)
		melt += dt * ((plate-melt)*0.16 - (melt-21)*0.005)
		if seed == 2 && at > 71*time.Minute && at < 71*time.Minute+40*time.Second {
			melt -= dt * 9 // the cold addition
		}
		points[i] = Point{At: at, MeltC: melt + 0.12*noise.NormFloat64(), PlateC: plate + 0.3*noise.NormFloat64(), TargetC: target, Duty: duty}
		if seed == 0 && at > 84*time.Minute && at < 95*time.Minute {
			points[i] = Point{At: at, MeltC: math.NaN(), PlateC: math.NaN(), TargetC: math.NaN(), Duty: math.NaN()}
		}
	}
	return points
}
