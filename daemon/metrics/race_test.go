//go:build race

package metrics

const raceDetector = true
