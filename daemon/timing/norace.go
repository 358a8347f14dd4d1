//go:build !race

package timing

// RaceDetector is whether this program is built with it, which makes everything slow.
const RaceDetector = false
