package commission

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestDaysAreNamed: the first as ISO 8601 writes a calendar date; the others are common
// practice, no source.
func TestDaysAreNamed(t *testing.T) {
	now := time.Date(2026, time.November, 26, 19, 0, 0, 0, time.UTC)
	for _, words := range []string{
		"the owner, 2026-11-20", "2026-11-20 the owner", "the owner 2026/11/20", "the owner, 20 November 2026", "the owner, 20 nov. 2026",
		"the owner on the 20th of November 2026", "the owner, Nov 20, 2026", "the owner, November 20th 2026", "the owner, 20.11.2026", "the owner, 11/20/2026",
		"30 mA device by the owner, 20 Nov 2026",
	} {
		on, rest, err := dayIn(words, time.UTC)
		require.NoError(t, err, words)
		require.Equal(t, "2026-11-20", on.Format(time.DateOnly), words)
		require.Contains(t, rest, "the owner")
		require.NoError(t, whoAndWhen(words, yearly, now), words)
	}
	for words, takes := range map[string]bool{
		"the owner, 2026-11-26": true, "the owner, 2026-11-27": false, "the owner, 2025-11-26": true, "the owner, 2025-11-25": false,
		"the owner, 2024-02-29": false, "the owner, 5/5/2026": true,
	} {
		require.Equal(t, takes, whoAndWhen(words, yearly, now) == nil, words)
	}
	require.NoError(t, whoAndWhen("the electrician, 2025-01-10", inspected, now))
}

// TestNoDay says what to write instead.
func TestNoDay(t *testing.T) {
	now := time.Date(2026, time.November, 26, 19, 0, 0, 0, time.UTC)
	for words, want := range map[string]string{
		"the owner, on Nov 20":                     "the day with its year",
		"the owner, 3 May":                         "the day with its year",
		"the owner, 20 Nov 26":                     "the day with its year",
		"2 kg ABC extinguisher, lids on the shelf": "write who it was, and the day with its year, such as: the owner, 2026-11-20",
		"2026-11-20":                               "write who it was",
		"yes, 2026-11-20":                          "write who it was",
		"the owner, 3/5/2026":                      `"3/5/2026" can be read in two ways: write the year first`,
		"the owner, 2026-02-29":                    `there is no day "2026-02-29"`,
		"the owner, 31 April 2026":                 `there is no day "31 April 2026"`,
		"the owner, 13.13.2026":                    `there is no day "13.13.2026"`,
		"the owner, 2062-11-20":                    "2062-11-20 is still to come",
		"the owner, 2019-11-20":                    "2019-11-20 is more than 365 days ago",
	} {
		require.ErrorContains(t, whoAndWhen(words, yearly, now), want, words)
	}
}
