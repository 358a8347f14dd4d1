//go:build !race

package api

const raceDetector = false
