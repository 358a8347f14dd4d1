//go:build !race

package demo

// seeds is how many evenings the numbers are taken from.
const seeds = 20
