package try

import (
	"fmt"
	"math"

	"meltwarden/daemon/causes"
	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// Standing is how an attempt stands.
type Standing string

// The standings.
const (
	Waits    Standing = "waits for its shots"
	OpenLeft Standing = "can not be told yet"
	Better   Standing = "better"
	NoBetter Standing = "no better so far"
	Worse    Standing = "worse"
)

// Outcome is what the shots of an attempt say, held against those before.
type Outcome struct {
	Standing Standing      `json:"standing"`
	Before   history.Tally `json:"before"`
	Since    history.Tally `json:"since"`
	// Chance is how often chance alone would set them at least so far apart (Fisher's
	// exact test, two-sided); not known before one is judged.
	Chance frames.Chance `json:"chance"`
	// More is about how many more shots would tell, if they went on like this; 0, and left
	// out, where that is not known, or none.
	More int `json:"more_shots,omitempty"`
	// Ended says that a person has ended it.
	Ended bool `json:"ended"`
}

// On reports whether the attempt waits for shots: another change beside it would leave
// open which it was.
func (o Outcome) On() bool { return !o.Ended && (o.Standing == Waits || o.Standing == OpenLeft) }

// NoHelp reports whether it was tried and did not help, by its shots or by the word of
// the person who ended it after some.
func (o Outcome) NoHelp() bool {
	return o.Standing == NoBetter || o.Standing == Worse || o.Ended && o.Standing != Better && o.Since.Judged > 0
}

// word is how it stands, an end by a person included.
func (o Outcome) word() string {
	switch {
	case o.Ended && o.Standing == Waits:
		return "ended before a shot of it was judged"
	case o.Ended:
		return string(o.Standing) + ", ended"
	}
	return string(o.Standing)
}

const (
	// rare is how seldom chance alone may do as much (E): less than the usual one time in
	// twenty, because it is looked at anew after every evening, and from so many evenings
	// on less with each, because nobody says when it ends.
	rare      = 0.025
	rareFor   = 5   // evenings since
	leastRuns = 2   // E: the shots of one evening are too alike to judge by
	mostMore  = 200 // shots ahead that are looked at
)

// rareAfter is how seldom chance alone may do as much after so many evenings.
func rareAfter(runs int) float64 { return rare * min(1, rareFor/float64(max(runs, 1))) }

// Judge holds the shots since an attempt against those before. The shots before include
// the one that led to it, so that they look worse than they are and a part of any gain is chance.
func Judge(before, since history.Tally) Outcome {
	o := Outcome{Standing: OpenLeft, Before: before, Since: since, Chance: frames.Chance(chance(before, since))}
	fewer := rate(since) < rate(before)
	gone := enough(before, history.Tally{}, 0) // shots that would have told if the fault were gone
	seldom := frames.Chance(rareAfter(since.Runs))
	switch {
	case since.Judged == 0:
		o.Standing, o.Chance = Waits, frames.Chance(frames.Unknown())
		o.More = enough(before, since, 0)
	case o.Chance <= seldom && since.Runs >= leastRuns && fewer:
		o.Standing = Better
	case o.Chance <= seldom && since.Runs >= leastRuns:
		o.Standing = Worse
	case !fewer && gone > 0 && since.Judged >= gone:
		o.Standing = NoBetter
	case o.Chance > seldom:
		o.More = enough(before, since, rate(since))
	}
	return o
}

func chance(before, since history.Tally) float64 {
	return exact.Fisher(since.Faulty, since.Judged-since.Faulty, before.Faulty, before.Judged-before.Faulty)
}

func rate(t history.Tally) float64 {
	if t.Judged == 0 {
		return 0
	}
	return float64(t.Faulty) / float64(t.Judged)
}

// enough is how many more shots with a part of faulty ones would tell them apart; 0 where
// none so few would.
func enough(before, since history.Tally, part float64) int {
	for n := 1; n <= mostMore; n += 1 + n/20 {
		then := history.Tally{Faulty: since.Faulty + int(math.Round(part*float64(n))), Judged: since.Judged + n}
		if chance(before, then) <= rareAfter(since.Runs) {
			return n
		}
	}
	return 0
}

// Words are the counts and what they say.
func (o Outcome) Words(fault string) string {
	if o.Since.Judged == 0 {
		return fmt.Sprintf("no shot of it is judged yet; %s before%s", counted(o.Before, fault), o.moreWords("without the fault "))
	}
	words := fmt.Sprintf("%s since, %d of %d before: chance alone does as much %s",
		counted(o.Since, fault), o.Before.Faulty, o.Before.Judged, causes.Often(o.Chance))
	if o.Chance <= rare && o.Standing == OpenLeft && o.Since.Runs < leastRuns {
		words += "; all since are of one run, and the shots of one evening are alike: make another"
	}
	return words + o.moreWords("")
}

func counted(t history.Tally, fault string) string {
	return fmt.Sprintf("%s in %d of %d", fault, t.Faulty, t.Judged)
}

func (o Outcome) moreWords(which string) string {
	if o.More == 0 {
		return ""
	}
	shots := "shots"
	if o.More == 1 {
		shots = "shot"
	}
	return fmt.Sprintf("; about %d more %s %swould tell", o.More, shots, which)
}
