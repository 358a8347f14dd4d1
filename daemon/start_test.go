package daemon

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

// TestSecretsOfABenchFileAreNotKept: neither the page's token nor addresses with keys
// in them, however a file may write them.
func TestSecretsOfABenchFileAreNotKept(t *testing.T) {
	typed, err := os.ReadFile("../testdata/config/bench-small.good.yaml")
	require.NoError(t, err)
	for _, section := range []string{
		"daemon:\n  token: SECRET-1234567890\n  notify: [\"generic+https://host/x?key=SECRET,@2\", 'other://SECRET@host']\n",
		"daemon: {listen: \"127.0.0.1:1\", token: SECRET-1234567890}\n",
		"daemon:\n  \"token\" : \"SECRET-1234567890\"\n",
		"daemon:\n  token:\n    SECRET-1234567890\n",
		"daemon:\n  token: >-\n    SECRET-1234567890\n",
		"daemon:\n  token: \"SECRET\\x2d1234567890\"\n",
	} {
		b, err := config.ParseBench("bench.yaml", []byte(string(typed)+section), nil)
		require.NoError(t, err, section)
		kept := redacted(b)
		assert.NotContains(t, kept, "SECRET", section)
		assert.True(t, strings.Contains(kept, b.Name), section)
	}
	b, err := config.ParseBench("bench.yaml", typed, nil)
	require.NoError(t, err)
	assert.Equal(t, string(typed), redacted(b))
}
