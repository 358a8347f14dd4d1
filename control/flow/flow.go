// Package flow is how unlike two neighbours flow because one is warmer: a range and no
// figure, because nobody has published the viscosity of hot fused plastisol.
package flow

import "math"

// A melt flows 5 to 11 % more easily for every 5 °F (E), so neighbours that are 5 °F apart
// look the same and 20 °F apart do not.
const leastPer, mostPer, perK = 1.05, 1.11, 5.0 / 1.8

// Ratio is how many times as thick the colder of two melts is as the warmer, for so many
// kelvins between them: from least to most, 1 at the least.
func Ratio(apartK float64) (least, most float64) {
	steps := math.Abs(apartK) / perK
	return math.Pow(leastPer, steps), math.Pow(mostPer, steps)
}
