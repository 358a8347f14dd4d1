package try

import (
	"strconv"
	"strings"
	"time"

	"meltwarden/daemon/frames"
)

// What is said where nothing is proposed.
const (
	lateWords       = "It was first seen days later: that is not charged to temperature, so no change of heat is proposed."
	firstWords      = "Drawn outside its own band: %s. To wait for the call may be all it takes."
	unreadableWords = "The recipe of this run can not be read, so no change of it is proposed:"
	nothingWords    = "Nothing in the record speaks for a change of the recipe."
	onlyAsidesWords = "What fits leads to no new change of the recipe."
	noFigureWords   = "No figure that is kept with a shot speaks for or against this fault."
	stillOnWords    = "Attempt %d is still on (%s). One change at a time: make its shots and judge them, or end it (on the page under Recipes, or with meltwarden attempts --end %d)."
	basisWords      = "The change is made to version %d, which this shot was made with; the newest is version %d."
	oppositeWords   = "over more shots of this recipe it goes the other way"
	overWords       = "Over %d shots of this recipe, %d of them %s: %s; %s"
	doubtWords      = "no more heat for %s while its thermometer may be wrong: this run has \"%s\". Find out why first"
	mindWords       = "This is more heat. A thermometer that reads low, or does not sit deep in the melt, makes a pot look cold: try it in boiling water first, and dry it well."
	plateWords      = "The plate stood at %s at this shot, which that limit allows as well: it only keeps it from going higher on the way up."
	triedWords      = "tried as attempt %d: %s"
)

func seconds(f frames.Figure) time.Duration {
	return time.Duration(float64(f) * float64(time.Second)).Round(time.Second)
}

func minutes(f frames.Figure) time.Duration {
	return time.Duration(float64(f) * float64(time.Minute)).Round(time.Minute)
}

// upTo is the next step of a grid from a time on.
func upTo(d, grid time.Duration) time.Duration { return (d + grid - 1) / grid * grid }

// spell is a time in whole minutes or seconds.
func spell(d time.Duration) string {
	if d >= time.Minute && d%time.Minute == 0 {
		return strconv.Itoa(int(d.Minutes())) + " min"
	}
	return strconv.Itoa(int(d.Seconds())) + " s"
}

func trimmed(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

func oneLine(lines []string) string { return strings.Join(lines, "; ") }
