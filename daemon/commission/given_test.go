package commission

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
)

// TestAnotherBenchIsNotReplacedSilently: a new bench file beside one that is in use has the
// same data folder, and its first answers must not end what is on record. That plates may be
// warm goes on to the new record.
func TestAnotherBenchIsNotReplacedSilently(t *testing.T) {
	past, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer past.Close()
	first := benchFile(t, nil)
	second := benchFile(t, func(text string) string { return strings.Replace(text, "unit: 3", "unit: 9", 1) })
	require.NotEqual(t, Digest(first), Digest(second))
	s := &session{Options: Options{History: past, Version: "test"}, record: complete(first)}
	s.record.Heated = time.Now()
	require.NoError(t, s.save())

	answers := map[string]string{"earth": "braid to every plate"}
	require.ErrorContains(t, Give(past, second, "test", answers, false), "holds the commissioning of another bench file, saved on ")
	kept, err := Load(past)
	require.NoError(t, err)
	cleared, missing := kept.Against(first)
	require.True(t, cleared.Holds(), missing)

	require.NoError(t, Give(past, second, "test", answers, true))
	kept, err = Load(past)
	require.NoError(t, err)
	require.Equal(t, Digest(second), kept.Digest)
	require.NotNil(t, kept.answer("earth"))
	require.WithinDuration(t, s.record.Heated, kept.Heated, time.Second)
	require.NoError(t, Give(past, second, "test", answers, false), "its own is gone on with")

	require.NoError(t, Give(past, second, "test", map[string]string{"fuse": "16 A breaker in the box"}, true))
	kept, err = Load(past)
	require.NoError(t, err)
	require.NotNil(t, kept.answer("fuse"))
	require.Nil(t, kept.answer("earth"), "anew is with these answers, and nothing else")
}
