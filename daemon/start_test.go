package daemon

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestSecretsOfABenchFileAreNotKept: neither the page's token nor addresses with
// keys in them, however they are written.
func TestSecretsOfABenchFileAreNotKept(t *testing.T) {
	kept := redacted([]byte(`name: bench
daemon:
  token: secret-1234567890
  notify: ["generic+https://host/x?key=secret", 'other://secret@host']
  data: here # see https://host/secret
  more:
    - plain+http://host:80/secret
`))
	assert.NotContains(t, kept, "secret")
	assert.Contains(t, kept, "name: bench")
	assert.Contains(t, kept, "data: here")
	assert.Contains(t, kept, `["(left out)", '(left out)']`)
}
