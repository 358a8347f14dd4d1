package daemon

import (
	"context"
	"encoding/csv"
	"log/slog"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/simbench"
)

// emf is the voltage of thermocouples in mV by the published coefficients (NIST Monograph 175;
// testdata/thermocouples), reckoned here and not by the program's own code.
type emf map[string][]segment

type segment struct {
	lowC, highC, a0, a1, a2 float64
	c                       []float64
}

func published(t *testing.T) emf {
	t.Helper()
	f, err := os.Open("../testdata/thermocouples/coefficients.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	all := emf{}
	for _, r := range rows[1:] {
		number := func(i int) float64 {
			v, err := strconv.ParseFloat(r[i], 64)
			require.NoError(t, err)
			return v
		}
		n := int(number(1))
		for len(all[r[0]]) < n {
			all[r[0]] = append(all[r[0]], segment{lowC: number(2), highC: number(3)})
		}
		s := &all[r[0]][n-1]
		switch r[4] {
		case "a0":
			s.a0 = number(5)
		case "a1":
			s.a1 = number(5)
		case "a2":
			s.a2 = number(5)
		default:
			s.c = append(s.c, number(5))
		}
	}
	return all
}

func (e emf) at(letter string, c float64) float64 {
	for _, s := range e[letter] {
		if c > s.highC {
			continue
		}
		mV := s.a0 * math.Exp(s.a1*(c-s.a2)*(c-s.a2))
		for i, k := range s.c {
			mV += k * math.Pow(c, float64(i))
		}
		return mV
	}
	return math.NaN()
}

// types are those of the probes of the bench, by the registers of the simulated module.
var types = [...]string{"K", "J", "T", "E", "N", "K", "R", "S"}

// module is the simulated thermocouple module with another front: it says how many
// microvolts it measures at its terminals, and how warm its sensor there says they are.
type module struct {
	emf emf

	mu                  sync.Mutex
	terminalsC, sensorC float64
	sensor              *uint16           // said in place of sensorC
	raw                 map[uint16]uint16 // said in place of what is measured
	shown               [8][3]float64     // the last of what the simulated module shows, °C
}

func (m *module) set(change func(*module)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	change(m)
}

// registers are values, status words and the cold junction, of the simulated module's own.
func (m *module) registers(own []uint16) []uint16 {
	m.mu.Lock()
	defer m.mu.Unlock()
	all := append([]uint16{}, own...)
	for i, letter := range types {
		c := float64(int16(own[i])) / 10
		m.shown[i] = [3]float64{c, m.shown[i][0], m.shown[i][1]}
		all[i] = uint16(int16(math.Round(1000 * (m.emf.at(letter, c) - m.emf.at(letter, m.terminalsC)))))
		if raw, is := m.raw[uint16(i)]; is {
			all[i] = raw
		}
	}
	cold := uint16(int16(math.Round(10 * m.sensorC)))
	if m.sensor != nil {
		cold = *m.sensor
	}
	return append(all, cold)
}

// serve answers for the module, and hands all else on to the simulated bench.
func (m *module) serve(t *testing.T, far, bench *pipe.End) {
	defer bench.Close()
	var got []byte
	chunk := make([]byte, modbus.MaxFrame)
	for {
		n, err := far.Read(chunk)
		if err != nil {
			return
		}
		got = append(got, chunk[:n]...)
		for length := modbus.RequestLength(got); length > 0 && len(got) >= length; length = modbus.RequestLength(got) {
			r, err := modbus.ParseRequest(append([]byte{}, got[:length]...))
			got = got[length:]
			if !assert.NoError(t, err) {
				return
			}
			asked := r
			if r.Unit == simbench.UnitThermocouples {
				asked.Address, asked.Quantity = 0, 16
			}
			reply := exchange(bench, asked)
			if data, err := asked.ParseReply(reply); err == nil && r.Unit == simbench.UnitThermocouples {
				all := m.registers(modbus.Registers(data))[r.Address:][:r.Quantity]
				reply = r.AppendReply(nil, modbus.AppendRegisters(nil, all...))
			}
			if _, err := far.Write(reply); err != nil {
				return
			}
		}
	}
}

// exchange asks the simulated bench; nothing where it is gone.
func exchange(bench *pipe.End, r modbus.Request) (reply []byte) {
	if _, err := bench.Write(r.Append(nil)); err != nil {
		return nil
	}
	chunk := make([]byte, modbus.MaxFrame)
	for len(reply) < r.ReplyLength() {
		n, err := bench.Read(chunk)
		if err != nil {
			return nil
		}
		if reply = append(reply, chunk[:n]...); len(reply) == 5 && reply[1]&0x80 != 0 {
			break
		}
	}
	return reply
}

// millivoltBench is the demo's bench with every probe in millivolts. Its cold junction's sensor
// reads five degrees too high, which its bench file corrects.
func millivoltBench(t *testing.T) *config.Bench {
	t.Helper()
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	i := 0
	text := regexp.MustCompile(`scale: 0\.1, unit: C,`).ReplaceAllStringFunc(string(demo.Typed), func(string) string {
		i++
		return "scale: 0.001, unit: mV, thermocouple: " + types[i-1] + ","
	})
	require.Equal(t, len(types), i)
	text = strings.Replace(text, "channels:\n", "channels:\n  - {role: cold-junction, device: thermocouples, function: 4, address: 16, type: int16, scale: 0.1, unit: C, correction: -5 C, sentinels: [0x7FFF]}\n", 1)
	file, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	return file
}

// startMillivolts starts the daemon over a line to the module and the rest of the bench.
func startMillivolts(t *testing.T) (*rig, *module) {
	t.Helper()
	file := millivoltBench(t)
	settings, err := config.Settings(file, config.DemoRecipe())
	require.NoError(t, err)
	c := simbench.Config{Seed: 1}
	for _, p := range settings.Pots {
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW})
	}
	clk := clock.New(1)
	bench, err := simbench.New(c, clk)
	require.NoError(t, err)
	m := &module{emf: published(t), terminalsC: 25, sensorC: 30, raw: map[uint16]uint16{}}
	near, far := pipe.New()
	behind, own := pipe.New()
	var served sync.WaitGroup
	served.Go(func() { _ = bench.Serve(context.Background(), own) })
	served.Go(func() { m.serve(t, far, behind) })
	bus, err := devices.Open(Wiring(file), func(devices.LineConfig) (modbus.Port, error) { return near, nil }, clk)
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	r := &rig{
		Daemon: New(Options{Settings: settings, Bus: bus, Clock: clk, Log: slog.New(slog.DiscardHandler), Simulated: bench}),
		bench:  bench, end: end, over: make(chan error, 1),
	}
	go func() { r.over <- r.Run(ctx) }()
	t.Cleanup(func() {
		end()
		served.Wait()
	})
	return r, m
}

// TestMillivoltsOverTheLine: what the program reads of six types of thermocouple in
// millivolts is what their junctions are at, by the published functions. A cold junction that
// is lost, or can not be, ends all heat by it within two seconds, and an open thermocouple
// that of its pot, and each is told by its name.
func TestMillivoltsOverTheLine(t *testing.T) {
	lost, hot, frozen := uint16(0x7FFF), uint16(912), uint16(0xFE00) // 86.2 and −56.2 °C, corrected
	for name, c := range map[string]struct {
		fault func(*module)
		pots  int // whose heat ends; from the first
		says  string
	}{
		"cold junction lost":       {func(m *module) { m.sensor = &lost }, 3, "cold junction unknown"},
		"cold junction too warm":   {func(m *module) { m.sensor = &hot }, 3, "cold junction unknown"},
		"cold junction frozen":     {func(m *module) { m.sensor = &frozen }, 3, "cold junction unknown"},
		"cold junction leaps down": {func(m *module) { m.sensorC = 7 }, 3, "cold junction unknown"}, // to 2 °C, corrected
		"cold junction leaps up":   {func(m *module) { m.sensorC = 55 }, 3, "cold junction unknown"},
		"cold junction reads zero": {func(m *module) { m.sensorC = 5 }, 3, "cold junction unknown"},
		"open thermocouple":        {func(m *module) { m.raw[0] = 0x7FFF }, 1, "no measurement"},
		"outside its table":        {func(m *module) { m.raw[0] = 0x8001 }, 1, "outside the thermocouple's table"},
	} {
		synctest.Test(t, func(t *testing.T) {
			r, m := startMillivolts(t)
			time.Sleep(2 * time.Second)
			r.bench.PressEnable()
			time.Sleep(100 * time.Second)
			f := r.Hub().Latest()
			require.Equal(t, control.HeatEnabled, f.Heat, "%s: %v", name, f.Conditions)
			for i := range f.Pots {
				m.reads(t, 2*i, f.Pots[i].Melt.C)
				m.reads(t, 2*i+1, f.Pots[i].Plate.C)
			}
			m.reads(t, 6, f.Mould.C)
			m.reads(t, 7, f.Room.C)
			require.Greater(t, f.Pots[0].Plate.C, 45.0, "it is heated by that")

			m.set(c.fault)
			time.Sleep(2 * time.Second)
			f = r.Hub().Latest()
			truth := r.bench.Truth()
			for i := range f.Pots {
				if i < c.pots {
					assert.Zero(t, truth.Pots[i].PowerW, "%s, pot %d", name, i+1)
				}
			}
			assert.Equal(t, c.says, f.Pots[0].Melt.Fault.String(), name)
			shown := view.Of(f, r.opts.Settings, time.Now()).Pots[0].Shown
			assert.Contains(t, shown.Off.C+shown.Against.C+shown.More.C, c.says, "%s: on its tile", name)
			time.Sleep(4 * time.Second)
			f = r.Hub().Latest()
			require.NotEmpty(t, f.Conditions, name)
			assert.Equal(t, c.pots == 3, f.Heat == control.HeatTripped, "%s: with nothing seen of a pot the contactor opens", name)
			t.Logf("%s: heat %v, pot 1 reads %q, worst: %s", name, f.Heat, f.Pots[0].Melt.Fault, f.Conditions[0].Code.Title())
			r.end()
			require.NoError(t, <-r.over)
			requireCold(t, r.bench)
		})
	}
}

// reads requires that a probe reads what its junction is at, as one of the last asked, within
// what a microvolt and a tenth of a degree at the terminals are worth.
func (m *module) reads(t *testing.T, probe int, c float64) {
	t.Helper()
	m.mu.Lock()
	defer m.mu.Unlock()
	within := 0.05 + 0.0006/(m.emf.at(types[probe], c+1)-m.emf.at(types[probe], c))
	for _, shown := range m.shown[probe] {
		if math.Abs(shown-c) <= within {
			return
		}
	}
	t.Errorf("probe %d of type %s reads %.2f °C, its junction is at one of %v", probe, types[probe], c, m.shown[probe])
}

// TestNumbersOfMillivolts prints by how much a probe in a melt of 170 °C is off for each degree
// that the cold junction is, at 25 °C, by the published functions.
func TestNumbersOfMillivolts(t *testing.T) {
	e := published(t)
	for _, letter := range []string{"E", "J", "K", "N", "R", "S", "T"} {
		slope := func(c float64) float64 { return e.at(letter, c+0.5) - e.at(letter, c-0.5) }
		off := slope(25) / slope(170)
		t.Logf("type %s: %.2f °C for each", letter, off)
		assert.True(t, off > 0.65 && off < 1.05)
	}
}
