package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/checks"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/shot"
)

// mostOffered is how many are offered of what there can be hundreds of, the newest first.
const mostOffered = 50

func runNumbers(s *history.Store, args []string) (found []cobra.Completion) {
	for _, r := range runsOf(s) {
		id := strconv.FormatInt(r.ID, 10)
		about := fmt.Sprintf("%s v%d, %s", r.Recipe, r.Version, r.Began.Format("2006-01-02"))
		if len(r.Faults) > 0 {
			about += ", " + strings.Join(r.Faults, "; ")
		}
		if !slices.Contains(args, id) && len(found) < mostOffered {
			found = append(found, cobra.CompletionWithDesc(id, about))
		}
	}
	return found
}

func runsOf(s *history.Store) []history.Run {
	if s == nil {
		return nil
	}
	runs, _ := s.Runs(history.Filter{})
	return runs
}

// shotsOf are the shots of the run that is typed.
func shotsOf(s *history.Store, args []string) []history.Shot {
	if s == nil || len(args) == 0 {
		return nil
	}
	run, err := strconv.ParseInt(args[0], 10, 64)
	if err != nil {
		return nil
	}
	shots, _ := s.Shots(run)
	return shots
}

func shotNumbers(s *history.Store, args []string) (found []cobra.Completion) {
	for _, sh := range shotsOf(s, args) {
		var said []string
		for _, v := range sh.Verdicts {
			said = append(said, v.Fault)
		}
		found = append(found, cobra.CompletionWithDesc(strconv.Itoa(sh.Number), cmp.Or(strings.Join(said, "; "), "not judged")))
	}
	return found
}

// placesOf are runs, and their shots, as they are named in one word.
func placesOf(s *history.Store, args []string) (found []cobra.Completion) {
	for _, c := range runNumbers(s, args) {
		number, about, _ := strings.Cut(c, "\t")
		for _, sh := range shotsOf(s, []string{number}) {
			found = append(found, cobra.CompletionWithDesc(fmt.Sprintf("%s/%d", number, sh.Number), about))
		}
	}
	return found
}

func photoNumbers(s *history.Store, args []string) (found []cobra.Completion) {
	for _, sh := range shotsOf(s, args) {
		if len(args) > 1 && strconv.Itoa(sh.Number) == args[1] {
			for _, p := range sh.Photos {
				found = append(found, strconv.FormatInt(p.ID, 10))
			}
		}
	}
	return found
}

// points are those of a calibration.
func points(*history.Store, []string) []cobra.Completion {
	return []cobra.Completion{"ice", "boiling at", "together", "accept"}
}

// probesOnRecord are those of which something is on record.
func probesOnRecord(s *history.Store, _ []string) (found []cobra.Completion) {
	if s == nil {
		return nil
	}
	all, _ := s.Calibrations()
	for _, c := range all {
		if !slices.Contains(found, c.Probe) {
			found = append(found, c.Probe)
		}
	}
	return found
}

func faults(*history.Store, []string) []cobra.Completion { return shot.Verdicts() }

// wordsToFind are the faults and the names of recipes; what else may be typed there is no
// file.
func wordsToFind(s *history.Store, args []string) []cobra.Completion {
	return append(faults(s, args), recipeNames(s, args)...)
}

func checkKeys() (keys []cobra.Completion) {
	for _, c := range checks.Of(nil, nil, "") {
		keys = append(keys, cobra.CompletionWithDesc(c.Key, c.Short))
	}
	return keys
}

// phoneNames are the phones that may be put out.
func phoneNames(c *cobra.Command, args []string, _ string) (found []cobra.Completion, _ cobra.ShellCompDirective) {
	s, now := phone.Open(folderOf(c)), time.Now()
	defer s.Close()
	all, _ := s.List()
	for _, p := range all {
		if state := p.State(now); len(args) == 0 && state.MayBeRevoked() {
			found = append(found, cobra.CompletionWithDesc(p.Name, fmt.Sprintf("phone %d, %s", p.ID, state)))
		}
	}
	return found, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// coloursOfRun are the colours of the run that is typed.
func coloursOfRun(s *history.Store, args []string) (found []cobra.Completion) {
	if s == nil || len(args) == 0 {
		return nil
	}
	run, _ := strconv.ParseInt(args[0], 10, 64)
	settings, err := s.Settings(run)
	if err != nil {
		return nil
	}
	for _, p := range settings.Pots {
		if p.Colour != "" {
			found = append(found, p.Colour)
		}
	}
	return found
}

func potsOfRun(s *history.Store, args []string) (found []cobra.Completion) {
	for i, colour := range coloursOfRun(s, args) {
		found = append(found, cobra.CompletionWithDesc(strconv.Itoa(i+1), colour))
	}
	return found
}

func batchNumbers(s *history.Store, _ []string) (found []cobra.Completion) {
	if s == nil {
		return nil
	}
	batches, _ := s.Batches()
	for _, b := range slices.Backward(batches) {
		if len(found) < mostOffered {
			found = append(found, cobra.CompletionWithDesc(strconv.FormatInt(b.ID, 10), strings.TrimSpace(b.Colour+" "+b.Lot)))
		}
	}
	return found
}

func batchesOrNew(s *history.Store, args []string) []cobra.Completion {
	return append(batchNumbers(s, args), cobra.CompletionWithDesc("new", "made new for the run"))
}

// versions are the kept versions of recipes, each by the shortest word that names it.
func versions(s *history.Store, args []string) (found []cobra.Completion) {
	all := versionsOf(s)
	for _, v := range all {
		word := fmt.Sprintf("v%d", v.Number)
		for _, other := range all {
			if other.Number == v.Number && other.Fingerprint != v.Fingerprint {
				word = v.Fingerprint
			}
		}
		if !slices.Contains(args, word) {
			found = append(found, cobra.CompletionWithDesc(word, fmt.Sprintf("%s v%d", v.Name, v.Number)))
		}
	}
	return found
}

func versionsOf(s *history.Store) []history.Version {
	if s == nil {
		return nil
	}
	all, _ := s.Versions()
	return all
}

// recipeNames are the names of recipes. Their versions, which begin alike, a shell would
// complete as far as they do and forget to quote the blank.
func recipeNames(s *history.Store, _ []string) (found []cobra.Completion) {
	for _, v := range versionsOf(s) {
		if !slices.Contains(found, v.Name) {
			found = append(found, v.Name)
		}
	}
	return found
}

func moulds(s *history.Store, _ []string) (found []cobra.Completion) {
	for i, r := range runsOf(s) {
		if i >= mostOffered {
			break
		}
		for _, sh := range shotsOf(s, []string{strconv.FormatInt(r.ID, 10)}) {
			if sh.Mould != "" && !slices.Contains(found, sh.Mould) {
				found = append(found, sh.Mould)
			}
		}
	}
	return found
}

func lots(s *history.Store, _ []string) (found []cobra.Completion) {
	if s == nil {
		return nil
	}
	batches, _ := s.Batches()
	for _, b := range batches {
		for _, word := range []string{b.Base, b.Lot} {
			if word != "" && !slices.Contains(found, word) {
				found = append(found, word)
			}
		}
	}
	return found
}

func openAttempts(s *history.Store, _ []string) (found []cobra.Completion) {
	if s == nil {
		return nil
	}
	all, _ := s.Attempts()
	for _, a := range all {
		if a.Ended == nil {
			found = append(found, cobra.CompletionWithDesc(strconv.FormatInt(a.ID, 10), a.Change))
		}
	}
	return found
}
