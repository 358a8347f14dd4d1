package api

import (
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// trendEvent is one of the events that the trend marks.
type trendEvent struct {
	AtS  float64      `json:"at_s"` // bench time
	Pot  int          `json:"pot"`  // from 1; zero is the bench
	Kind history.Kind `json:"kind"`
	// Shape names the mark: see shapes.
	Shape string `json:"shape"`
	// Number is a shot's, from 1 in its run; zero for what is none.
	Number int `json:"number,omitempty"`
	// TakesBack is the kind of the mark that this one takes back, the last of the same pot;
	// left out by every other.
	TakesBack string `json:"takes_back,omitempty"`
	// Once is true where all of that kind are taken back, since the pot was lifted.
	Once bool `json:"once,omitempty"`
	// Key is the press that a mark came of, and Takes, of a note that is taken back, that of
	// the note, or "last".
	Key   string    `json:"key,omitempty"`
	Takes string    `json:"takes,omitempty"`
	From  string    `json:"from,omitempty"` // what it was said from; left out of the bench's own computer
	Shown view.Both `json:"shown"`
}

// shapes are the marks of the kinds that have one of their own, the same as on a run's
// picture where that has one; another kind is of any shape.
var shapes = map[history.Kind]string{
	history.Stirred: "ring", history.Clear: "tick", history.Addition: "diamond", history.Drawn: "cup", history.Lifted: "up",
	history.BackOnPlate: "down", history.ShotPushed: "shot", history.Note: "sheet", history.Alarm: "alarm", history.HeatTripped: "cross",
	history.NewSetpoint: "step", history.HeatEnabled: "press",
}

const anyShape = "bar"

func trendEventOf(e history.NumberedEvent) trendEvent {
	shape, ok := shapes[e.Kind]
	if !ok {
		shape = anyShape
	}
	takesBack := ""
	if e.Kind == history.TakenBack {
		takesBack = e.Text
	}
	return trendEvent{
		TakesBack: takesBack, Once: history.OnceOnly(history.Kind(takesBack)), Key: e.Key, Takes: e.Takes, From: e.From,
		AtS: e.At.Seconds(), Pot: e.Pot + 1, Kind: e.Kind, Shape: shape, Number: e.Shot,
		Shown: view.Both{C: eventWords(e, review.Celsius), F: eventWords(e, review.Fahrenheit)},
	}
}

func eventWords(e history.NumberedEvent, u review.Unit) string {
	switch e.Kind {
	case history.ShotPushed:
		return review.ShotWords(e.Event, e.Shot)
	case history.NewSetpoint, history.HandReading:
		e.Amount = u.Spell(cause.Temperature, frames.Figure(e.C))
	case history.HeatEnabled:
		return view.Texts().EnabledByPress
	}
	return review.EventWords(e.Event)
}
