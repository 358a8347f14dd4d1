package demo

import (
	"os"
	"strconv"
)

// seeds is how many evenings the numbers are taken from: few, or as many as DEMO_SEEDS
// asks for, such as the 20 that the closing figures of a change come from.
var seeds = seedsAsked()

func seedsAsked() int {
	if n, err := strconv.Atoi(os.Getenv("DEMO_SEEDS")); err == nil {
		return max(1, n)
	}
	return few
}
