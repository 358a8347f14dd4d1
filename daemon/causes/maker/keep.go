package maker

import (
	"fmt"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
)

// Keep writes a maker's runs into a history, an evening a week from a first one on, each
// marked as invented.
func Keep(s *history.Store, first time.Time, runs []Run) error {
	for i, r := range runs {
		if err := keep(s, first.AddDate(0, 0, 7*i), r); err != nil {
			return fmt.Errorf("invented evening %d: %w", i+1, err)
		}
	}
	return nil
}

func keep(s *history.Store, began time.Time, r Run) error {
	set := control.Settings{Period: 200 * time.Millisecond}
	for _, p := range pots {
		set.Pots = append(set.Pots, control.PotSettings{Name: p.name, Colour: p.colour, SetpointC: p.targetC, BandC: 2})
	}
	record, err := s.Record(began, history.Start{
		Title: "invented", RecipeName: "invented eel", Fingerprint: "e1", Recipe: "name: invented eel", Settings: set, Invented: true,
	})
	if err != nil {
		return err
	}
	at := began
	for i, sh := range r.Shots {
		at = began.Add(time.Duration(i+1) * 6 * time.Minute)
		in := control.Input{Elapsed: set.Period, Pots: make([]control.PotReadings, len(pots))}
		f := control.Frame{Cycle: uint64(i + 1), Time: at.Sub(began), Pots: make([]control.PotFrame, len(pots))}
		record.PutAll(history.Kept{
			Record: cycles.Keep(at, &in, &f), Events: []history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench, Text: sh.Mould}},
			Shot: &sh.Card, Mould: sh.Mould,
		})
	}
	if err := record.Close(at.Add(time.Minute)); err != nil {
		return err
	}
	for _, sh := range r.Shots {
		for _, v := range sh.Verdicts {
			v.At = at.AddDate(0, 0, v.Day)
			if err := s.Judge(record.Run(), sh.Number, v); err != nil {
				return err
			}
		}
		if err := s.ChangeShot(record.Run(), sh.Number, history.ShotChange{Withdrawn: &sh.Withdrawn}); err != nil {
			return err
		}
	}
	return nil
}
