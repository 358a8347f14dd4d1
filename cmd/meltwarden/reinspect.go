package main

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// mostReinspections is how many shots are listed to be looked at again.
const mostReinspections = 50

func tellReinspections(out io.Writer, s *history.Store, asJSON bool) error {
	found, err := s.Reinspections(time.Now(), mostReinspections)
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"reinspect": append([]history.Reinspection{}, found...)})
	}
	if len(found) == 0 {
		_, err := fmt.Fprintln(out, "no shots")
		return err
	}
	words := view.Texts()
	if err := tellNotes(out, []string{words.ToReinspectWhy, words.ReinspectWhy}); err != nil {
		return err
	}
	for _, r := range found {
		_, err = fmt.Fprintf(out, "  %s\n    meltwarden verdict %d %d clean --day %d%s\n", review.ReinspectionWords(r), r.Run, r.Shot, r.Day, whereData(s))
	}
	return err
}
