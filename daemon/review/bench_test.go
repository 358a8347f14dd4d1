package review

import (
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
)

func BenchmarkPlotOfFourHours(b *testing.B) {
	s, err := history.Open(b.TempDir())
	require.NoError(b, err)
	defer s.Close()
	fourHours(b, s)
	for b.Loop() {
		_, err := Plot(s, 1, 0, 0)
		require.NoError(b, err)
	}
}
