// Package circuit shares the electrical circuit between the heaters: the sum at
// any instant stays under the breaker's rating, and the mean of any minute
// under the continuous share.
package circuit

// Rating is what the supply circuit can carry.
type Rating struct {
	// MaxW is the most power at any instant, in watts: volts times the breaker's amperes.
	MaxW float64
	// ContinuousW is the most the mean of a minute may reach, in watts.
	ContinuousW float64
}
