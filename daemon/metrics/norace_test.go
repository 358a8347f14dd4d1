//go:build !race

package metrics

const raceDetector = false
