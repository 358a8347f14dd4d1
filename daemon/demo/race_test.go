//go:build race

package demo

// seeds is fewer under the race detector, which is some ten times slower and looks
// for something else.
const seeds = 3
