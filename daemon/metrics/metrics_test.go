package metrics

import (
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

var noon = time.Unix(1_000_000_000, 0)

// daemon is an invented bench of two pots whose last frame is f, looked at the
// given time after that frame.
func daemon(f *frames.Frame, after time.Duration) *Metrics { return New(options(f, after)) }

func options(f *frames.Frame, after time.Duration) Options {
	return Options{
		Latest: func() *frames.Frame { return f },
		Settings: control.Settings{
			Period: 200 * time.Millisecond,
			Pots:   []control.PotSettings{{Name: "left", HeaterW: 1000}, {HeaterW: 800}},
		},
		Exchanges: func() []Exchanges {
			return []Exchanges{{"probes", "input module", "ok", 41}, {"probes", "input module", "timeout", 2}}
		},
		Serial: func() []Serial {
			return []Serial{{
				"input module", map[string]uint64{"no answer": 2, "late": 1}, 41, 820 * time.Millisecond,
				map[time.Duration]uint64{10 * time.Millisecond: 1, 20 * time.Millisecond: 40},
			}}
		},
		Lines: func() []Line {
			return []Line{{Name: "probes", Tried: true, Connected: true, Lost: 3}, {Name: "power", Tried: true}, {Name: "lamps"}}
		},
		Beside:  func() Beside { return Beside{} },
		Run:     Run{Name: "invented run", Recipe: "invented recipe", Version: "3"},
		Version: "0.0.1-test",
		Now:     func() time.Time { return noon.Add(after) },
	}
}

// frame is a frame with one good pot and one whose probes can not be believed.
func frame() *frames.Frame {
	f := &frames.Frame{At: noon}
	f.Heat = control.HeatEnabled
	f.Room = reading.Temperature{C: 21.5, Age: 300 * time.Millisecond, Fault: reading.None}
	f.Pots = []control.PotFrame{
		{
			State: control.Ready, Duty: .25, SetpointC: 168, BandC: 2, TargetC: 168, MeltC: 168.2,
			Melt:  reading.Temperature{C: 168.5, Age: 100 * time.Millisecond, Fault: reading.None},
			Plate: reading.Temperature{C: 205, Age: 200 * time.Millisecond, Fault: reading.None},
		},
		{
			State: control.Heating, SetpointC: 171, BandC: 2, TargetC: 177, MeltC: math.NaN(),
			Melt:  reading.Temperature{C: 99, Age: 1500 * time.Millisecond, Fault: reading.None}, // stale
			Plate: reading.Temperature{C: 0, Age: 100 * time.Millisecond, Fault: reading.Open},
		},
	}
	f.Conditions = []guard.Condition{
		{Code: guard.PlateUnusable, Pot: 1, Severity: guard.Trip, Active: true},
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Latched: true},
	}
	return f
}

func compare(t *testing.T, m *Metrics, want string, names ...string) {
	t.Helper()
	assert.NoError(t, testutil.GatherAndCompare(m.registry, strings.NewReader(want), names...))
}

func TestUnusableReadingsAreLeftOut(t *testing.T) {
	compare(t, daemon(frame(), time.Second), `
# HELP meltwarden_melt_temperature_celsius Measured temperature of the melt.
# TYPE meltwarden_melt_temperature_celsius gauge
meltwarden_melt_temperature_celsius{pot="left"} 168.5
# HELP meltwarden_plate_temperature_celsius Measured temperature of the plate.
# TYPE meltwarden_plate_temperature_celsius gauge
meltwarden_plate_temperature_celsius{pot="left"} 205
# HELP meltwarden_room_temperature_celsius Measured temperature of the room.
# TYPE meltwarden_room_temperature_celsius gauge
meltwarden_room_temperature_celsius 21.5
# HELP meltwarden_reading_age_seconds Age of the last value of a probe, usable or not, when the cycle used it.
# TYPE meltwarden_reading_age_seconds gauge
meltwarden_reading_age_seconds{pot="",probe="room"} 0.3
meltwarden_reading_age_seconds{pot="2",probe="melt"} 1.5
meltwarden_reading_age_seconds{pot="2",probe="plate"} 0.1
meltwarden_reading_age_seconds{pot="left",probe="melt"} 0.1
meltwarden_reading_age_seconds{pot="left",probe="plate"} 0.2
`, "meltwarden_melt_temperature_celsius", "meltwarden_plate_temperature_celsius",
		"meltwarden_room_temperature_celsius", "meltwarden_mould_temperature_celsius", "meltwarden_reading_age_seconds")
}

func TestStatesAndOutputs(t *testing.T) {
	compare(t, daemon(frame(), 0), `
# HELP meltwarden_heater_duty_ratio Fraction of the heater's rated power it was told to give.
# TYPE meltwarden_heater_duty_ratio gauge
meltwarden_heater_duty_ratio{pot="2"} 0
meltwarden_heater_duty_ratio{pot="left"} 0.25
# HELP meltwarden_heater_power_watts Power the heater was told to give.
# TYPE meltwarden_heater_power_watts gauge
meltwarden_heater_power_watts{pot="2"} 0
meltwarden_heater_power_watts{pot="left"} 250
# HELP meltwarden_heat_state 1 for the state heat is in, 0 for the others.
# TYPE meltwarden_heat_state gauge
meltwarden_heat_state{state="heat blocked"} 0
meltwarden_heat_state{state="heat enabled"} 1
meltwarden_heat_state{state="tripped"} 0
# HELP meltwarden_pot_ready Whether the pot is ready to pour.
# TYPE meltwarden_pot_ready gauge
meltwarden_pot_ready{pot="2"} 0
meltwarden_pot_ready{pot="left"} 1
# HELP meltwarden_ready Whether every pot is ready to pour.
# TYPE meltwarden_ready gauge
meltwarden_ready 0
# HELP meltwarden_target_temperature_celsius What the loop holds now: the cure temperature while curing, then the set-point.
# TYPE meltwarden_target_temperature_celsius gauge
meltwarden_target_temperature_celsius{pot="2"} 177
meltwarden_target_temperature_celsius{pot="left"} 168
# HELP meltwarden_condition_active Whether the cause of a finding is there now.
# TYPE meltwarden_condition_active gauge
meltwarden_condition_active{code="e_stop_open",pot="",severity="trip"} 0
meltwarden_condition_active{code="plate_unusable",pot="2",severity="trip"} 1
# HELP meltwarden_condition_latched Whether a finding waits for a reset at the bench.
# TYPE meltwarden_condition_latched gauge
meltwarden_condition_latched{code="e_stop_open",pot="",severity="trip"} 1
meltwarden_condition_latched{code="plate_unusable",pot="2",severity="trip"} 0
# HELP meltwarden_serial_exchanges_total Exchanges with a device of a serial line by how they ended.
# TYPE meltwarden_serial_exchanges_total counter
meltwarden_serial_exchanges_total{device="input module",line="probes",outcome="ok"} 41
meltwarden_serial_exchanges_total{device="input module",line="probes",outcome="timeout"} 2
# HELP meltwarden_serial_line_connected Whether the port of a serial line is open.
# TYPE meltwarden_serial_line_connected gauge
meltwarden_serial_line_connected{line="power"} 0
meltwarden_serial_line_connected{line="probes"} 1
# HELP meltwarden_serial_line_losses_total How often the port of a serial line was lost while it was open, since the program began.
# TYPE meltwarden_serial_line_losses_total counter
meltwarden_serial_line_losses_total{line="lamps"} 0
meltwarden_serial_line_losses_total{line="power"} 0
meltwarden_serial_line_losses_total{line="probes"} 3
# HELP meltwarden_serial_round_trip_seconds How long exchanges took that a device answered, from the first byte of the request to the last of the reply.
# TYPE meltwarden_serial_round_trip_seconds histogram
meltwarden_serial_round_trip_seconds_bucket{device="input module",le="0.01"} 1
meltwarden_serial_round_trip_seconds_bucket{device="input module",le="0.02"} 40
meltwarden_serial_round_trip_seconds_bucket{device="input module",le="+Inf"} 41
meltwarden_serial_round_trip_seconds_sum{device="input module"} 0.82
meltwarden_serial_round_trip_seconds_count{device="input module"} 41
# HELP meltwarden_serial_troubles_total What was wrong with exchanges with a device, more finely than how they ended.
# TYPE meltwarden_serial_troubles_total counter
meltwarden_serial_troubles_total{device="input module",kind="late"} 1
meltwarden_serial_troubles_total{device="input module",kind="no answer"} 2
# HELP meltwarden_run_info What is being made.
# TYPE meltwarden_run_info gauge
meltwarden_run_info{recipe="invented recipe",run="invented run",version="3"} 1
`, "meltwarden_serial_line_connected", "meltwarden_serial_line_losses_total", "meltwarden_serial_round_trip_seconds", "meltwarden_serial_troubles_total", "meltwarden_heater_duty_ratio", "meltwarden_heater_power_watts", "meltwarden_heat_state", "meltwarden_pot_ready",
		"meltwarden_ready", "meltwarden_target_temperature_celsius", "meltwarden_condition_active",
		"meltwarden_condition_latched", "meltwarden_serial_exchanges_total", "meltwarden_run_info")
	n, err := testutil.GatherAndCount(daemon(frame(), 0).registry, "meltwarden_pot_state")
	require.NoError(t, err)
	assert.Equal(t, 2*len(control.PotStates()), n)
}

// TestControllersAreTold: what a controller is told, has and reads, and no duty in its place.
func TestControllersAreTold(t *testing.T) {
	f := frame()
	p := &f.Pots[0]
	p.Duty = math.NaN()
	p.Controller = control.ControllerFrame{InCharge: true, ToldC: 190, Changes: 7, Setpoint: p.Melt}
	compare(t, daemon(f, time.Second), `
# HELP meltwarden_controller_told_celsius What the controller of a plate is told to hold; its rest while the pot gets no heat.
# TYPE meltwarden_controller_told_celsius gauge
meltwarden_controller_told_celsius{pot="left"} 190
# HELP meltwarden_controller_setpoint_celsius What the controller of a plate says that it was told.
# TYPE meltwarden_controller_setpoint_celsius gauge
meltwarden_controller_setpoint_celsius{pot="left"} 168.5
# HELP meltwarden_controller_setpoint_changes_total How often the controller of a plate was told something else since the program began.
# TYPE meltwarden_controller_setpoint_changes_total counter
meltwarden_controller_setpoint_changes_total{pot="left"} 7
# HELP meltwarden_heater_duty_ratio Fraction of the heater's rated power it was told to give.
# TYPE meltwarden_heater_duty_ratio gauge
meltwarden_heater_duty_ratio{pot="2"} 0
`, "meltwarden_controller_told_celsius", "meltwarden_controller_setpoint_celsius", "meltwarden_controller_reading_celsius",
		"meltwarden_controller_setpoint_changes_total", "meltwarden_heater_duty_ratio")
}

// ofFrame are the metrics that stand for the bench as it is now.
var ofFrame = []string{
	"meltwarden_melt_temperature_celsius", "meltwarden_plate_temperature_celsius", "meltwarden_setpoint_temperature_celsius",
	"meltwarden_target_temperature_celsius", "meltwarden_band_celsius", "meltwarden_mould_temperature_celsius",
	"meltwarden_room_temperature_celsius", "meltwarden_reading_age_seconds", "meltwarden_heater_duty_ratio",
	"meltwarden_heater_power_watts", "meltwarden_pot_state", "meltwarden_pot_ready", "meltwarden_ready",
	"meltwarden_heat_state", "meltwarden_condition_active", "meltwarden_condition_latched",
}

const lastCycle = `
# HELP meltwarden_last_cycle_timestamp_seconds When the last control cycle finished.
# TYPE meltwarden_last_cycle_timestamp_seconds gauge
meltwarden_last_cycle_timestamp_seconds 1e+09
`

func TestStoppedCycleLeavesOnlyItsTime(t *testing.T) {
	names := append([]string{"meltwarden_last_cycle_timestamp_seconds"}, ofFrame...)
	compare(t, daemon(frame(), frames.LiveFor+time.Millisecond), lastCycle, names...)
}

func TestBeforeTheFirstFrameNothingIsKnown(t *testing.T) {
	n, err := testutil.GatherAndCount(daemon(nil, 0).registry, append(ofFrame, "meltwarden_last_cycle_timestamp_seconds")...)
	require.NoError(t, err)
	assert.Zero(t, n)
}

func TestLateAndMissedCycles(t *testing.T) {
	m := daemon(frame(), 0)
	for _, lateness := range []time.Duration{-time.Millisecond, 0, 99, 100, 199, 200, 450} {
		m.ObserveCycle(3*time.Millisecond, lateness*time.Millisecond)
	}
	assert.Equal(t, 4.0, testutil.ToFloat64(m.late), "from half a period on")
	assert.Equal(t, 3.0, testutil.ToFloat64(m.missed), "one at 200 ms, two at 450 ms")
	n, err := testutil.GatherAndCount(m.registry, "meltwarden_cycle_duration_seconds")
	require.NoError(t, err)
	assert.Equal(t, 1, n)
}

func TestFrameThatDoesNotFitTheSettingsEndsNothing(t *testing.T) {
	f := frame()
	f.Pots = append(f.Pots, control.PotFrame{})
	f.Conditions = append(f.Conditions, guard.Condition{Code: guard.MeltHigh, Pot: 9})
	_, err := daemon(f, 0).registry.Gather()
	assert.NoError(t, err)
}

// The rules are those of the client library, after the naming practices on the
// Prometheus site: base units, unit and _total suffixes, help texts.
func TestNamesKeepThePrometheusConventions(t *testing.T) {
	problems, err := testutil.GatherAndLint(daemon(frame(), 0).registry)
	require.NoError(t, err)
	assert.Empty(t, problems)
}

// The metric server's own checker reads a scraped page.
func TestPromtoolAcceptsThePage(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal("promtool is not installed, and MELTWARDEN_TEST_ALL asks for every test")
		}
		t.Skip("promtool is not installed")
	}
	srv := httptest.NewServer(daemon(frame(), 0).Handler())
	defer srv.Close()
	answer, err := srv.Client().Get(srv.URL)
	require.NoError(t, err)
	defer answer.Body.Close()
	check := exec.Command(promtool, "check", "metrics")
	check.Stdin = answer.Body
	out, err := check.CombinedOutput()
	assert.NoError(t, err, string(out))
	assert.Empty(t, string(out))
}
