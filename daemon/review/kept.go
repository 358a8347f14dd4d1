package review

import (
	"fmt"

	"meltwarden/daemon/history"
)

// BroughtLines say of every run of an archive what became of it.
func BroughtLines(runs []history.Brought) []string {
	var lines []string
	fresh := 0
	for _, r := range runs {
		if r.Before {
			since := ""
			if r.Differs {
				since = ", and differs by now"
			}
			lines = append(lines, fmt.Sprintf("run %d of the file, %s, is here already as run %d%s: left as it is", r.There, r.Title, r.Here, since))
			continue
		}
		fresh++
		lines = append(lines, fmt.Sprintf("run %d of the file, %s, is run %d here", r.There, r.Title, r.Here))
	}
	return append(lines, RunCount(fresh)+" brought in")
}

// TidiedLines say of every run that was thinned, or would be, what became of it.
func TidiedLines(t history.Tidied) []string {
	verb := "was"
	if t.Dry {
		verb = "would be"
	}
	var lines []string
	for _, r := range t.Runs {
		lines = append(lines, fmt.Sprintf("run %d of %s %s thinned: %d cycles to %d, %s to %s", r.Run, r.Began.Format("2006-01-02"), verb,
			r.Cycles, r.Kept, kilobytes(r.Before), kilobytes(r.After)))
	}
	switch {
	case len(t.Runs) == 0:
		return []string{"no run is old enough, or all that are have been thinned"}
	case t.Dry:
		return append(lines, "a dry run: nothing was changed")
	case t.Reused:
		lines = append(lines, "the room is for later runs: while a run is recorded, a file of an older program does not get smaller")
	}
	return append(lines, fmt.Sprintf("the file: %s before, %s after", kilobytes(t.Before), kilobytes(t.After)))
}

func kilobytes(n int64) string { return fmt.Sprintf("%d kB", (n+999)/1000) }

// RunCount is a number of runs in words.
func RunCount(n int) string {
	if n == 1 {
		return "1 run"
	}
	return fmt.Sprintf("%d runs", n)
}

// PhotoWhy is what a photo is good for (the trade's common practice, no source).
const PhotoWhy = "A photo shows where a fault sits. Colour can not be measured in it without a grey card and even light."

// PhotoLines are the photos of a shot, a line each.
func PhotoLines(photos []history.Photo) []string {
	if len(photos) == 0 {
		return []string{"no photo"}
	}
	var lines []string
	for _, p := range photos {
		lines = append(lines, fmt.Sprintf("photo %d: %d × %d pixels, %d kB, attached on %s", p.ID, p.Width, p.Height,
			(p.Bytes+999)/1000, p.Attached.Format("2006-01-02 15:04")))
	}
	return append(lines, PhotoWhy)
}

// kept says of a run where it was brought from and what of it is gone; "" where it is
// whole and from here.
func kept(r history.Run) string {
	text := ""
	if r.Brought != nil {
		from := r.BroughtFrom
		if from == "" {
			from = "a bench without a name"
		}
		text += fmt.Sprintf(" · made elsewhere, on %s; brought on %s", from, r.Brought.Format("2006-01-02"))
	}
	if r.Thinned != nil {
		text += fmt.Sprintf(" · thinned on %s; replay no longer possible", r.Thinned.Format("2006-01-02"))
	}
	return text
}
