//go:build race

package api

const raceDetector = true
