package reading

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

const maxAge = time.Second

// Rule: unknown is a state of its own, and what nobody filled in is unknown.
func TestTheZeroValueIsUnknown(t *testing.T) {
	assert.False(t, Temperature{}.Usable(maxAge))
	assert.False(t, Temperature{}.Wired())
	assert.False(t, Contact{Closed: true}.Known(maxAge))
	assert.False(t, Contact{Closed: true}.Wired())
	assert.Equal(t, NotWired, Temperature{}.Fault)
}

func TestOnlyNoFaultIsUsable(t *testing.T) {
	for f := range Fault(len(faultNames) + 3) {
		assert.Equal(t, f == None, Temperature{C: 20, Fault: f}.Usable(maxAge), f)
		assert.Equal(t, f == None, Contact{Closed: true, Fault: f}.Known(maxAge), f)
		assert.Equal(t, f != NotWired, Temperature{Fault: f}.Wired(), f)
		assert.NotEmpty(t, f.String())
	}
}

func TestAgeAndNumber(t *testing.T) {
	for age, usable := range map[time.Duration]bool{
		0: true, maxAge: true, maxAge + 1: false, -1: false, math.MaxInt64: false, math.MinInt64: false,
	} {
		assert.Equal(t, usable, Temperature{C: 20, Age: age, Fault: None}.Usable(maxAge), age)
		assert.Equal(t, usable, Contact{Age: age, Fault: None}.Known(maxAge), age)
	}
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.False(t, Temperature{C: c, Fault: None}.Usable(maxAge))
	}
}

// TestRising: only known open, then known closed, is a press.
func TestRising(t *testing.T) {
	// "o" open, "c" closed, "?" unknown, "O" and "C" too old; "^" marks a press.
	for cycles, want := range map[string]string{
		"oc":       ".^",
		"occc":     ".^..",
		"ococ":     ".^.^",
		"c":        ".",
		"ccc":      "...",
		"?c":       "..",
		"o?c":      "...",
		"o?oc":     "...^",
		"oC":       "..",
		"oCc":      "...",
		"Oc":       "..",
		"oc?c":     ".^..",
		"ooooc":    "....^",
		"oc?cccoc": ".^.....^",
	} {
		var e Edge
		got := ""
		for _, cycle := range cycles {
			c := Contact{Closed: cycle == 'c' || cycle == 'C', Fault: None}
			switch cycle {
			case '?':
				c.Fault = Missing
			case 'O', 'C':
				c.Age = maxAge + 1
			}
			if e.Rising(c, maxAge) {
				got += "^"
			} else {
				got += "."
			}
		}
		assert.Equal(t, want, got, cycles)
	}
}
