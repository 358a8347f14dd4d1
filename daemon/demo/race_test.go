//go:build race

package demo

// The race detector is some ten times slower and looks for something else.
const (
	raced = true
	few   = 3
)
