package quantity

import (
	"strconv"
	"strings"
	"time"
)

// FormatTemperature writes degrees Celsius so that Temperature reads it back,
// rounded to a tenth of a degree.
func FormatTemperature(celsius float64) string { return decimal(celsius, 1) + " °C" }

// FormatVolume writes millilitres so that ParseVolume reads them back, rounded to a tenth.
func FormatVolume(ml float64) string { return decimal(ml, 1) + " mL" }

// FormatPower writes watts so that Power reads it back, rounded to a tenth.
func FormatPower(watts float64) string { return decimal(watts, 1) + " W" }

// FormatDuration writes a time span in seconds so that Duration reads it back,
// rounded to a millisecond.
func FormatDuration(d time.Duration) string { return decimal(d.Seconds(), 3) + " s" }

// FormatDays writes a time span in days so that Days reads it back, rounded to a
// thousandth of one.
func FormatDays(d time.Duration) string { return decimal(d.Hours()/24, 3) + " days" }

// decimal rounds to a number of places and leaves out needless zeros.
func decimal(v float64, places int) string {
	text := strconv.FormatFloat(v, 'f', places, 64)
	if places == 0 {
		return text
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}
