package metrics

import (
	"math"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/wear"
)

// with is the invented bench with more known beside its frame.
func with(f *frames.Frame, change func(*Options)) *Metrics {
	o := options(f, 0)
	change(&o)
	return New(o)
}

// relays are those of an invented bench whose left heater has one that wears.
func relays() []wear.Standing {
	b := &config.Bench{Name: "bench", Pots: []config.Pot{{Name: "left", Output: circuit.Switched, Relay: config.Relay{Life: 100000, Used: 2500}}}}
	c := wear.NewCounter(wear.Stand(nil, b), noon)
	c.See(noon, []float64{1})
	return c.Standing()
}

func TestWhatStandsBesideTheFrame(t *testing.T) {
	m := with(frame(), func(o *Options) {
		o.Run.Began = noon.Add(-time.Hour)
		o.Cleared = Cleared{Holds: true, Until: noon.Add(24 * time.Hour)}
		o.Beside = func() Beside {
			return Beside{
				Shots: 4, LastShot: noon.Add(-time.Minute), DoseMin: []frames.Figure{12.5, frames.Unknown(), 9}, Streams: 2,
				Relays:  relays(),
				History: &History{Failing: true, Dropped: 3, Waiting: 70}, Away: &Messages{Failing: true, Sent: 5, GivenUp: 1},
			}
		}
	})
	compare(t, m, `
# HELP meltwarden_commissioned Whether it is on record that the heaters may be switched on.
# TYPE meltwarden_commissioned gauge
meltwarden_commissioned 1
# HELP meltwarden_commissioning_lapses_timestamp_seconds When that record lapses. It is looked at when the program starts.
# TYPE meltwarden_commissioning_lapses_timestamp_seconds gauge
meltwarden_commissioning_lapses_timestamp_seconds 1.0000864e+09
# HELP meltwarden_history_dropped_cycles_total Cycles that were never written down, because too many waited.
# TYPE meltwarden_history_dropped_cycles_total counter
meltwarden_history_dropped_cycles_total 3
# HELP meltwarden_history_failing Whether what happens can not be written down now.
# TYPE meltwarden_history_failing gauge
meltwarden_history_failing 1
# HELP meltwarden_history_waiting_cycles Cycles in memory that wait to be written down.
# TYPE meltwarden_history_waiting_cycles gauge
meltwarden_history_waiting_cycles 70
# HELP meltwarden_last_shot_timestamp_seconds When the last shot was marked as pushed.
# TYPE meltwarden_last_shot_timestamp_seconds gauge
meltwarden_last_shot_timestamp_seconds 9.9999994e+08
# HELP meltwarden_melt_dose_seconds Heat that the melt has had in this run, as seconds at 177 °C that would have aged it as much: an estimate.
# TYPE meltwarden_melt_dose_seconds gauge
meltwarden_melt_dose_seconds{pot="left"} 750
# HELP meltwarden_notifier_failing Whether the last message to people elsewhere could not be sent.
# TYPE meltwarden_notifier_failing gauge
meltwarden_notifier_failing 1
# HELP meltwarden_notifier_messages_total Messages to people elsewhere by what became of them.
# TYPE meltwarden_notifier_messages_total counter
meltwarden_notifier_messages_total{outcome="given_up"} 1
meltwarden_notifier_messages_total{outcome="sent"} 5
# HELP meltwarden_relay_operations_total How often the mechanical relay before a heater was told to close, with what its owner says it had before.
# TYPE meltwarden_relay_operations_total counter
meltwarden_relay_operations_total{pot="left"} 2501
# HELP meltwarden_relay_rated_operations Operations that its maker rates it for, as the bench file says.
# TYPE meltwarden_relay_rated_operations gauge
meltwarden_relay_rated_operations{pot="left"} 100000
# HELP meltwarden_run_start_timestamp_seconds When the program began with this run.
# TYPE meltwarden_run_start_timestamp_seconds gauge
meltwarden_run_start_timestamp_seconds 9.999964e+08
# HELP meltwarden_shots_total Shots that were marked as pushed since the program began.
# TYPE meltwarden_shots_total counter
meltwarden_shots_total 4
# HELP meltwarden_stream_clients Pages and terminals that follow the bench now.
# TYPE meltwarden_stream_clients gauge
meltwarden_stream_clients 2
`, besideTheFrame...)
	problems, err := testutil.GatherAndLint(m.registry)
	require.NoError(t, err)
	assert.Empty(t, problems)
}

var besideTheFrame = []string{
	"meltwarden_commissioned", "meltwarden_commissioning_lapses_timestamp_seconds", "meltwarden_history_dropped_cycles_total",
	"meltwarden_history_failing", "meltwarden_history_waiting_cycles", "meltwarden_last_shot_timestamp_seconds", "meltwarden_melt_dose_seconds",
	"meltwarden_notifier_failing", "meltwarden_notifier_messages_total",
	"meltwarden_relay_operations_total", "meltwarden_relay_rated_operations", "meltwarden_run_start_timestamp_seconds",
	"meltwarden_shots_total", "meltwarden_stream_clients",
}

// TestWhatIsNotKnownBesideTheFrameIsLeftOut: no shot yet, no history, nobody to tell, a
// record that never lapses.
func TestWhatIsNotKnownBesideTheFrameIsLeftOut(t *testing.T) {
	compare(t, daemon(frame(), 0), `
# HELP meltwarden_commissioned Whether it is on record that the heaters may be switched on.
# TYPE meltwarden_commissioned gauge
meltwarden_commissioned 0
# HELP meltwarden_shots_total Shots that were marked as pushed since the program began.
# TYPE meltwarden_shots_total counter
meltwarden_shots_total 0
# HELP meltwarden_stream_clients Pages and terminals that follow the bench now.
# TYPE meltwarden_stream_clients gauge
meltwarden_stream_clients 0
`, besideTheFrame...)
}

// TestNothingFoundIsToldApartFromNothingHeard: counts of findings are zero while the
// bench is heard, and gone when it is not; whether it is, is always told.
func TestNothingFoundIsToldApartFromNothingHeard(t *testing.T) {
	f := frame()
	f.Conditions, f.Aside, f.Hot = nil, 2, true
	compare(t, daemon(f, 0), `
# HELP meltwarden_conditions How many findings are there now or wait for a reset, by severity.
# TYPE meltwarden_conditions gauge
meltwarden_conditions{severity="note"} 0
meltwarden_conditions{severity="trip"} 0
meltwarden_conditions{severity="warning"} 0
# HELP meltwarden_conditions_set_aside How many warnings a person has taken off lamp and buzzer.
# TYPE meltwarden_conditions_set_aside gauge
meltwarden_conditions_set_aside 2
# HELP meltwarden_hot Whether anything on the bench is, or may be, too hot to touch.
# TYPE meltwarden_hot gauge
meltwarden_hot 1
# HELP meltwarden_live Whether control cycles finish: 0 when none has for two seconds.
# TYPE meltwarden_live gauge
meltwarden_live 1
`, "meltwarden_conditions", "meltwarden_conditions_set_aside", "meltwarden_hot", "meltwarden_live")
	for _, m := range []*Metrics{daemon(f, frames.LiveFor+time.Millisecond), daemon(nil, 0)} {
		compare(t, m, `
# HELP meltwarden_live Whether control cycles finish: 0 when none has for two seconds.
# TYPE meltwarden_live gauge
meltwarden_live 0
`, "meltwarden_conditions", "meltwarden_conditions_set_aside", "meltwarden_hot", "meltwarden_live")
	}
}

// TestWhatIsForeseenIsToldAsAnEstimate, with its band, and where the guard foresees a trip
// also while another finding is told in its place.
func TestWhatIsForeseenIsToldAsAnEstimate(t *testing.T) {
	f := frame()
	f.ReadyIn, f.ReadyWithin, f.PowerW = 10*time.Minute, time.Minute, 250
	f.Pots[0].ReadyIn, f.Pots[1].ReadyIn, f.Pots[1].ReadyWithin = -1, 10*time.Minute, time.Minute
	f.Pots[0].PeakC, f.Pots[0].PeakWithinC, f.Pots[1].PeakC = 171, 2, math.NaN()
	f.Folded = []guard.Condition{{Code: guard.MeltForecast, Pot: 1, Severity: guard.Warning, Active: true}}
	m := with(f, func(o *Options) {
		o.Settings.Limits.MeltTripC, o.Settings.Limits.PlateTripC = 190, 250
		o.Settings.Circuit.MaxW, o.Settings.Circuit.ContinuousW = 2400, 1920
	})
	compare(t, m, `
# HELP meltwarden_circuit_continuous_watts Most that the mean power of any minute may be.
# TYPE meltwarden_circuit_continuous_watts gauge
meltwarden_circuit_continuous_watts 1920
# HELP meltwarden_circuit_limit_watts Power that the breaker carries.
# TYPE meltwarden_circuit_limit_watts gauge
meltwarden_circuit_limit_watts 2400
# HELP meltwarden_melt_peak_estimate_band_celsius How far off that may be, to either side.
# TYPE meltwarden_melt_peak_estimate_band_celsius gauge
meltwarden_melt_peak_estimate_band_celsius{pot="left"} 2
# HELP meltwarden_melt_peak_estimate_celsius Estimate of the warmest that the melt becomes if its heat is cut now.
# TYPE meltwarden_melt_peak_estimate_celsius gauge
meltwarden_melt_peak_estimate_celsius{pot="left"} 171
# HELP meltwarden_melt_trip_celsius Melt temperature at which heat is cut.
# TYPE meltwarden_melt_trip_celsius gauge
meltwarden_melt_trip_celsius{pot="2"} 190
meltwarden_melt_trip_celsius{pot="left"} 190
# HELP meltwarden_overheating_predicted Whether the melt is on its way over its trip temperature.
# TYPE meltwarden_overheating_predicted gauge
meltwarden_overheating_predicted{pot="2"} 1
meltwarden_overheating_predicted{pot="left"} 0
# HELP meltwarden_plate_trip_celsius Plate temperature at which heat is cut.
# TYPE meltwarden_plate_trip_celsius gauge
meltwarden_plate_trip_celsius{pot="2"} 250
meltwarden_plate_trip_celsius{pot="left"} 250
# HELP meltwarden_pot_ready_in_band_seconds How far off that may be, to either side.
# TYPE meltwarden_pot_ready_in_band_seconds gauge
meltwarden_pot_ready_in_band_seconds{pot="2"} 60
# HELP meltwarden_pot_ready_in_seconds Estimate of how long the pot still needs at full power, as far as a hand does its part at once.
# TYPE meltwarden_pot_ready_in_seconds gauge
meltwarden_pot_ready_in_seconds{pot="2"} 600
# HELP meltwarden_power_watts Power that all heaters together draw, those that are switched in the mean.
# TYPE meltwarden_power_watts gauge
meltwarden_power_watts 250
# HELP meltwarden_ready_in_band_seconds How far off that may be, to either side.
# TYPE meltwarden_ready_in_band_seconds gauge
meltwarden_ready_in_band_seconds 60
# HELP meltwarden_ready_in_seconds Estimate of how long it takes until every pot is ready, as far as a hand does its part at once.
# TYPE meltwarden_ready_in_seconds gauge
meltwarden_ready_in_seconds 600
`, "meltwarden_circuit_continuous_watts", "meltwarden_circuit_limit_watts", "meltwarden_melt_peak_estimate_band_celsius",
		"meltwarden_melt_peak_estimate_celsius", "meltwarden_melt_trip_celsius", "meltwarden_overheating_predicted", "meltwarden_plate_trip_celsius",
		"meltwarden_pot_ready_in_band_seconds", "meltwarden_pot_ready_in_seconds", "meltwarden_power_watts",
		"meltwarden_ready_in_band_seconds", "meltwarden_ready_in_seconds")
}
