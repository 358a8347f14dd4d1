// Package review turns what history keeps of a run into something to look at: its
// plot, and the card of every shot in words and figures. Page and terminal take
// both from here, so that they can not contradict each other.
package review

import (
	"path/filepath"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/history"
)

// Review is all that is known of a run, its cycles aside.
type Review struct {
	Run      history.Run
	Recipe   history.Version
	Settings control.Settings
	// Parts is how many times the program was started for it.
	Parts int
	// Corrected is what calibrations added to the readings, in words, once for each that the
	// program was started with; they have it in them.
	Corrected []string
	Events    []history.Event
	Shots     []history.Shot
	// Where is what has to be added to a command that is named, like " --data here".
	Where string
}

// Of gathers what is known of a run. Its error wraps history.ErrNoRun when there
// is none.
func Of(s *history.Store, run int64) (Review, error) {
	var r Review
	var err error
	if r.Run, err = s.Run(run); err != nil {
		return r, err
	}
	if r.Recipe, err = s.Version(r.Run.Fingerprint); err != nil {
		return r, err
	}
	if r.Recipe.Source, err = s.Typed(run); err != nil {
		return r, err
	}
	if r.Settings, err = s.Settings(run); err != nil {
		return r, err
	}
	parts, err := s.Parts(run)
	if err != nil {
		return r, err
	}
	r.Parts = len(parts)
	for _, p := range parts {
		if p.Corrected != "" && !slices.Contains(r.Corrected, p.Corrected) {
			r.Corrected = append(r.Corrected, p.Corrected)
		}
	}
	if r.Events, err = s.Events(run); err != nil {
		return r, err
	}
	r.Shots, err = s.Shots(run)
	return r, err
}

// Made is the recipe version with what was made with it in all runs, as it was typed for
// this one.
func (r Review) Made(s *history.Store) (history.Made, error) {
	m, err := s.MadeWith(r.Run.Fingerprint)
	m.Source = r.Recipe.Source
	return m, err
}

// around is how much of a run is shown before and after a shot.
const around = 2 * time.Minute

// Around is the stretch of a run about a moment in it, for a plot.
func Around(at time.Duration) (from, to time.Duration) {
	return max(0, at-around), at + around
}

// colour is the name of a pot's colour; that of the bench is "bench".
func (r Review) colour(pot int) string {
	if pot < 0 || pot >= len(r.Settings.Pots) {
		return "bench"
	}
	if c := r.Settings.Pots[pot].Colour; c != "" {
		return c
	}
	return r.Settings.Pots[pot].Name
}

// Where is what a command about a history needs to find it, like " --data here"; "" for
// the folder that is taken where none is named.
func Where(s *history.Store) string {
	if folder := filepath.Dir(s.Path()); folder != config.DefaultData {
		return " --data " + folder
	}
	return ""
}
