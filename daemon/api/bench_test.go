package api

import (
	"errors"
	"math"
	"net/http"
	"time"

	"meltwarden/control"
	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/trend"
)

// token is what the tests' other computers know.
const token = "an invented token"

// settings are an invented bench with invented colours.
func settings() control.Settings {
	s := control.Settings{Period: 200 * time.Millisecond}
	for i, colour := range []string{"slate", "chalk", "rust"} {
		s.Pots = append(s.Pots, control.PotSettings{
			Name: []string{"left", "middle", "right"}[i], Colour: colour, HeaterW: 1000,
			SetpointC: []float64{168, 171, 165}[i], BandC: 2, CureC: 177, Dwell: 90 * time.Second,
			SteadyFor: 30 * time.Second, StirWithin: 90 * time.Second,
		})
	}
	return s
}

func good(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }

// holding is a live frame with every pot in its band, one of them to be stirred.
func holding() *frames.Frame {
	f := &frames.Frame{At: time.Now()}
	f.Cycle, f.Time, f.Heat, f.Hot = 7, 1400*time.Millisecond, control.HeatEnabled, true
	f.Room, f.PowerW = good(21.4), 840
	for _, p := range settings().Pots {
		f.Pots = append(f.Pots, control.PotFrame{
			State: control.Ready, WaitLeft: -1, Melt: good(p.SetpointC + .4), Plate: good(205),
			MeltC: p.SetpointC + .4, SlopeCPerMin: .2, TargetC: p.SetpointC, SetpointC: p.SetpointC, BandC: p.BandC,
			PlateTargetC: 206, AskedDuty: .28, Duty: .28, Dwelled: 95 * time.Second, Clear: true, Cured: true,
			StirredEver: true, SinceStir: 30 * time.Second, InBandFor: time.Minute, SinceColour: -1,
		})
	}
	f.Pots[0].State, f.Pots[0].Wait, f.Pots[0].SinceStir = control.Holding, control.WaitStir, 130*time.Second
	return f
}

// ready is a live frame in which the maker can shoot.
func ready() *frames.Frame {
	f := holding()
	f.Ready, f.Call = true, call.State{Sound: call.Ready, Seq: 3}
	f.Pots[0].State, f.Pots[0].Wait, f.Pots[0].SinceStir = control.Ready, control.WaitNothing, 20*time.Second
	return f
}

// tripped is a live frame after a probe broke and a plate ran away.
func tripped() *frames.Frame {
	f := holding()
	f.Heat, f.PowerW, f.Call = control.HeatTripped, 0, call.State{Sound: call.Danger, Seq: 4}
	f.Conditions = []guard.Condition{
		{Code: guard.PlateOverTemperature, Pot: 1, Severity: guard.Trip, Latched: true},
		{Code: guard.MeltUnusable, Pot: 2, Severity: guard.Trip, Active: true, Latched: true},
		{Code: guard.MeltHigh, Pot: 1, Severity: guard.Warning, Active: true},
	}
	for i := range f.Pots {
		f.Pots[i].State, f.Pots[i].Wait, f.Pots[i].Duty = control.Tripped, control.WaitReset, 0
	}
	f.Pots[1].Melt, f.Pots[1].MeltC, f.Pots[1].Plate = good(184), 184, good(303)
	f.Pots[2].Melt = reading.Temperature{Fault: reading.Open}
	f.Pots[2].MeltC, f.Pots[2].SlopeCPerMin = math.NaN(), math.NaN()
	return f
}

// options are a whole daemon around hub, with a queue of one mark.
func options(hub *frames.Hub) (Options, chan history.Mark) {
	queue := make(chan history.Mark, 1)
	return Options{
		Hub: hub, Settings: settings(), Trend: &trend.Trend{}, Alarms: alarm.NewList(),
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/plain; version=0.0.4")
			w.Write([]byte("# metrics\n"))
		}),
		Submit: func(m history.Mark) error {
			select {
			case queue <- m:
				return nil
			default:
				return errors.New("the queue of marks is full")
			}
		},
		Health: func() error { return nil },
		Token:  token, Hosts: []string{"bench.example"},
		Title: "Bench (test)", Run: "invented run, version 3", Simulated: true,
	}, queue
}
