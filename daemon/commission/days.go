package commission

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"
)

// month is one by its English name, or the first letters of that.
const month = `(?P<m>jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)`

// forms are how a day is written with its year: as in ISO 8601, with the month in letters,
// or in numbers of which the year comes last.
var forms = []*regexp.Regexp{
	regexp.MustCompile(`\b(?P<y>\d{4})[-./](?P<m>\d{1,2})[-./](?P<d>\d{1,2})\b`),
	regexp.MustCompile(`(?i)\b(?P<d>\d{1,2})(?:st|nd|rd|th)?[-., /]*(?:of )?` + month + `[-., /]*(?P<y>\d{4})\b`),
	regexp.MustCompile(`(?i)\b` + month + `[-., /]*(?P<d>\d{1,2})(?:st|nd|rd|th)?[-., /]+(?P<y>\d{4})\b`),
	inNumbers,
}

// inNumbers has the day before the month, or behind it: who reads it can not always tell.
var inNumbers = regexp.MustCompile(`\b(?P<d>\d{1,2})[-./](?P<m>\d{1,2})[-./](?P<y>\d{4})\b`)

var errWho = errors.New("write who it was, and the day with its year, such as: the owner, 2026-11-20")

// dayIn finds the day that some words name, and returns it with the words around it. One
// that can be read in two ways, or that no calendar has, is an error.
func dayIn(words string, in *time.Location) (on time.Time, rest string, err error) {
	for _, form := range forms {
		found := form.FindStringSubmatch(words)
		if found == nil {
			continue
		}
		part := func(name string) string { return found[form.SubexpIndex(name)] }
		on, err := date(part("y"), part("m"), part("d"), in)
		if form == inNumbers {
			swapped, wrong := date(part("y"), part("d"), part("m"), in)
			switch {
			case err == nil && wrong == nil && !on.Equal(swapped):
				return on, "", fmt.Errorf("%q can be read in two ways: write the year first, such as 2026-11-20", found[0])
			case err != nil:
				on, err = swapped, wrong
			}
		}
		if err != nil {
			return on, "", fmt.Errorf("there is no day %q: write it such as 2026-11-20", found[0])
		}
		return on, strings.Replace(words, found[0], "", 1), nil
	}
	return on, words, errWho
}

// date is the day of a year, a month, by number or name, and a day of that.
func date(year, month, day string, in *time.Location) (time.Time, error) {
	layout := "2006-1-2"
	if month[0] > '9' {
		layout, month = "2006-Jan-2", month[:3]
	}
	return time.ParseInLocation(layout, year+"-"+month+"-"+day, in)
}

// whoAndWhen says why an answer that is given now does not name a person, and a day that was
// no longer ago than a span.
func whoAndWhen(words string, within time.Duration, now time.Time) error {
	on, rest, err := dayIn(words, now.Location())
	switch {
	case err != nil:
		return err
	case inWords(rest, nil) != nil:
		return errWho
	case on.After(now):
		return fmt.Errorf("%s is still to come, by this computer's clock: write the day on which it was done", on.Format(time.DateOnly))
	case on.Add(within + 24*time.Hour).Before(now): // the day itself counts to its end
		return fmt.Errorf("%s is more than %.0f days ago: have it done again, and write that day", on.Format(time.DateOnly), within.Hours()/24)
	}
	return nil
}
