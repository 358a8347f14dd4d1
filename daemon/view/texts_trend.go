package view

import (
	"fmt"

	"meltwarden/daemon/frames"
)

// TrendLabels are the words of the trend. What stands in braces the page's script fills in.
type TrendLabels struct {
	Trend, Recent, Whole, Last, NotNow, ToNow string
	Predicted, PredictedThen, PredictedNow    string
	Now, FromSetpoint, AndMore, MarksLeftOut  string
	LookCloser, TrendKeys, TrendTable         string
	TrendTime, OffSetpoint, SetpointAndBand   string
	EnabledByPress, TrendPicture              string
	MarkWords                                 MarkWords
}

// MarkWords are what the marks of the trend are of, by the names of their shapes.
type MarkWords struct {
	Ring, Tick, Diamond, Cup, Shot, Up, Down, Step, Press, Sheet, Alarm, Cross, Bar string
}

var trendLabels = TrendLabels{
	Trend: "Session", Recent: "Last 15 min", Whole: "Whole session", Last: "Last {span}",
	NotNow: "NOT now: {from} to {to}, {ago} ago", ToNow: "Back to now",
	Predicted: "predicted", PredictedThen: fmt.Sprintf("predicted %.0f min before", frames.ForeseenIn.Minutes()),
	PredictedNow: "predicted from now on", Now: "now", FromSetpoint: "{off} from set-point {set}",
	AndMore: "and {n} more", MarksLeftOut: "Marks: the newest of them. {n} older ones stand on the run's own page.",
	LookCloser: "Look closer, or read it as a table",
	TrendKeys: "Drag sideways to move, pinch to look closer, tap to read, tap twice for closer and back. Wheel: with Ctrl, or after a press on the chart; with Shift it moves. " +
		"Keys on the chart: + and − closer and wider, ← → read, with Shift move, Home start, End now, 0 whole session. All pots show the same stretch.",
	TrendTable: "What the chart shows now", TrendTime: "Time", OffSetpoint: "from set-point", SetpointAndBand: "set-point in its band",
	EnabledByPress: "heat enabled by a press of the button",
	TrendPicture:   "The run so far as a picture",
	MarkWords: MarkWords{
		Ring: "stirred", Tick: "clear", Diamond: "addition", Cup: "drawn", Shot: "shot, with its number", Up: "lifted", Down: "back on plate",
		Step: "set-point", Press: "heat enabled", Sheet: "note", Alarm: "alarm", Cross: "tripped", Bar: "anything else",
	},
}
