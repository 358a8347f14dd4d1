//go:build race

package review

const raceDetector = true
