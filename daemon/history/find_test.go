package history

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestWordsAreFoundByTheirBeginnings(t *testing.T) {
	for _, c := range []struct {
		words, line string
		in          bool
	}{
		{"bled", "bled: chalk and rust", true}, {"bled", "Heat has been enabled", false}, {"BLE", "rust bled", true},
		{"rust bled", "bled: chalk and rust", true}, {"rust dented", "bled: chalk and rust", false},
		{"eel", "steel eel", true}, {"é", "Égal", true}, {"", "anything", false}, {"%", "fan at 50 %", true},
	} {
		assert.Equal(t, c.in, WordsOf(c.words).In(c.line), "%q in %q", c.words, c.line)
	}
	assert.True(t, WordsOf("eel fan").In("eel, two cavities", "the fan was off"), "in different lines")
}

// Every word of a line finds it, whatever the line is.
func TestALineIsFoundByItsOwnWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := rapid.StringMatching(`[a-zäöß0-9 ]{1,40}`).Draw(t, "line")
		words := WordsOf(line)
		assert.Equal(t, len(words) > 0, words.In(line))
	})
}
