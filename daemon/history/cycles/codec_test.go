package cycles

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// anyRecord draws a record as history can keep it.
func anyRecord(t *rapid.T, pots int) Record {
	ms := rapid.Int64Range(-1000, 1<<40)
	temperature := func() reading.Temperature {
		r := reading.Temperature{
			C:     float64(rapid.IntRange(-300000, 2000000).Draw(t, "c")) / control.PerDegree,
			Age:   time.Duration(ms.Draw(t, "age")) * time.Millisecond,
			Fault: reading.Fault(rapid.IntRange(0, 11).Draw(t, "fault")),
		}
		return r
	}
	contact := func() reading.Contact {
		return reading.Contact{
			Closed: rapid.Bool().Draw(t, "closed"), Age: time.Duration(ms.Draw(t, "age")) * time.Millisecond,
			Fault: reading.Fault(rapid.IntRange(0, 11).Draw(t, "fault")),
		}
	}
	r := Record{At: time.UnixMilli(ms.Draw(t, "at"))}
	in := &r.Input
	in.Elapsed = time.Duration(ms.Draw(t, "elapsed")) * time.Millisecond
	for range pots {
		in.Pots = append(in.Pots, control.PotReadings{Melt: temperature(), Plate: temperature(), Injector: temperature(), Setpoint: temperature(), Own: temperature()})
	}
	in.HistoryFailing = rapid.Bool().Draw(t, "history failing")
	in.Mould, in.Room = temperature(), temperature()
	in.Contacts = control.Contacts{EStop: contact(), CutOut: contact(), Fan: contact(), Pedal: contact(), Enable: contact(), Link: contact()}
	for range rapid.IntRange(0, 3).Draw(t, "commands") {
		in.Commands = append(in.Commands, control.Command{
			Kind: control.CommandKind(rapid.IntRange(0, int(control.HandReading)).Draw(t, "kind")), Pot: rapid.IntRange(-1, 7).Draw(t, "pot"),
			C:    float64(rapid.IntRange(0, 200000).Draw(t, "set-point")) / control.PerDegree,
			ML:   float64(rapid.IntRange(0, 100000).Draw(t, "volume")) / control.PerML,
			Afar: rapid.Bool().Draw(t, "afar"),
			Code: guard.Code(rapid.IntRange(0, 50).Draw(t, "code")),
			Mark: control.CommandKind(rapid.IntRange(0, int(control.HandReading)).Draw(t, "mark")),
			For:  time.Duration(rapid.IntRange(0, 1800_000).Draw(t, "for")) * time.Millisecond,
		})
	}
	r.Kept = Kept{Cycle: rapid.Uint64().Draw(t, "cycle"), Time: time.Duration(ms.Draw(t, "time")) * time.Millisecond,
		Heat: control.HeatState(rapid.IntRange(0, 4).Draw(t, "heat")), Ready: rapid.Bool().Draw(t, "ready"), Contactor: rapid.Bool().Draw(t, "contactor"),
		Lamp: rapid.Bool().Draw(t, "lamp"), Buzzer: rapid.Bool().Draw(t, "buzzer"), Print: rapid.Uint32().Draw(t, "print")}
	for range pots {
		r.Kept.Pots = append(r.Kept.Pots, Pot{
			State:   control.PotState(rapid.IntRange(0, 7).Draw(t, "state")),
			Duty:    float64(rapid.IntRange(0, 10000).Draw(t, "duty")) / 10000,
			TargetC: float64(rapid.IntRange(0, 300000).Draw(t, "target")) / control.PerDegree,
			MeltC:   float64(rapid.IntRange(0, 300000).Draw(t, "melt")) / control.PerDegree,
			ToldC:   float64(rapid.IntRange(0, 300000).Draw(t, "told")) / control.PerDegree,
			Estimate: control.Estimate{
				C:       float64(rapid.IntRange(0, 300000).Draw(t, "estimate")) / control.PerDegree,
				WithinC: float64(rapid.IntRange(0, 90000).Draw(t, "within")) / control.PerDegree,
			},
		})
	}
	return r
}

func decode(block []byte) ([]Record, error) {
	var out []Record
	var r Reader
	err := r.Each(block, func(c *Record) error {
		kept := *c
		kept.Input.Pots, kept.Kept.Pots = slices.Clone(c.Input.Pots), slices.Clone(c.Kept.Pots)
		kept.Input.Commands = slices.Clone(c.Input.Commands)
		out = append(out, kept)
		return nil
	})
	return out, err
}

func TestWhatIsKeptComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pots := rapid.IntRange(1, 4).Draw(t, "pots")
		var records []Record
		for range rapid.IntRange(0, 5).Draw(t, "records") {
			records = append(records, anyRecord(t, pots))
		}
		comesBack(t, records)
	})
}

func comesBack(t *rapid.T, records []Record) {
	back, err := decode(Encode(records))
	require.NoError(t, err)
	require.Len(t, back, len(records))
	for i := range records {
		require.True(t, records[i].At.Equal(back[i].At))
		require.Equal(t, records[i].Kept, back[i].Kept)
		require.Equal(t, len(records[i].Input.Commands), len(back[i].Input.Commands))
		a, b := records[i].Input, back[i].Input
		if len(a.Commands) == 0 {
			a.Commands, b.Commands = nil, nil
		}
		require.Equal(t, a, b)
	}
}

// TestWhatHardlyChangesComesBack: most of a record is the same in the one after it, and is
// read once only.
func TestWhatHardlyChangesComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pots := rapid.IntRange(1, 3).Draw(t, "pots")
		usual := anyRecord(t, pots)
		records := make([]Record, rapid.IntRange(1, 40).Draw(t, "records"))
		for i := range records {
			r := usual
			if another := anyRecord(t, pots); rapid.IntRange(0, 9).Draw(t, "changes") == 0 {
				switch rapid.IntRange(0, 3).Draw(t, "what") {
				case 0:
					r.Input.Pots, r.Kept.Ready = another.Input.Pots, another.Kept.Ready
				case 1:
					r.Input.Commands = another.Input.Commands
				case 2:
					r.Kept.Pots, r.At = another.Kept.Pots, another.At
				case 3:
					r = another
				}
			}
			r.Kept.Cycle = uint64(i)
			records[i] = r
		}
		comesBack(t, records)
	})
}

// older is a block of records as a program of before wrote it.
func older(layout byte, records ...Record) []byte {
	c, pots := &columns{format: layout}, len(records[0].Input.Pots)
	for i := range records {
		c.column, c.row = 0, i
		walk(c, &records[i], pots)
	}
	plain := binary.AppendUvarint([]byte{byte(pots)}, uint64(len(records)))
	for _, col := range c.values {
		last := int64(0)
		for _, v := range col {
			plain = binary.AppendVarint(plain, v-last)
			last = v
		}
	}
	return sealed(layout, plain)
}

// TestOlderLayoutsAreRead: what a layout does not have is zero, even where the
// reader has just read a newer block.
func TestOlderLayoutsAreRead(t *testing.T) {
	thought := control.Estimate{C: 161.5, WithinC: 5}
	r := Record{Input: control.Input{
		Pots:     make([]control.PotReadings, 2),
		Commands: []control.Command{{Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true, Code: 3, For: time.Minute, ML: 2.5, Mark: control.Draw}},
	}, Kept: Kept{Cycle: 7, Pots: []Pot{{Estimate: thought}, {}}}}
	var reader Reader
	for layout, want := range map[byte]control.Command{
		1:      {Kind: control.Setpoint, Pot: 1},
		2:      {Kind: control.Setpoint, Pot: 1, C: 166.5},
		3:      {Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true},
		4:      {Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true, Code: 3, For: time.Minute},
		5:      {Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true, Code: 3, For: time.Minute, ML: 2.5},
		6:      {Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true, Code: 3, For: time.Minute, ML: 2.5},
		newest: {Kind: control.Setpoint, Pot: 1, C: 166.5, Afar: true, Code: 3, For: time.Minute, ML: 2.5, Mark: control.Draw},
	} {
		require.NoError(t, reader.Each(Encode([]Record{r}), func(*Record) error { return nil }))
		quiet := r
		quiet.Input.Commands, quiet.Kept.Cycle = nil, 8
		cycle := uint64(6)
		require.NoError(t, reader.Each(older(layout, r, quiet, r), func(back *Record) error {
			if cycle++; cycle == 8 {
				assert.Empty(t, back.Input.Commands, "layout %d", layout)
				assert.EqualValues(t, 8, back.Kept.Cycle, "layout %d", layout)
				return nil
			}
			assert.Equal(t, []control.Command{want}, back.Input.Commands, "layout %d", layout)
			assert.EqualValues(t, 7, back.Kept.Cycle, "layout %d", layout)
			assert.Equal(t, layout >= withEstimates, back.Kept.Pots[0].Estimate == thought, "layout %d", layout)
			assert.Equal(t, layout < withEstimates, back.Kept.Pots[0].Estimate == control.Estimate{}, "layout %d", layout)
			return nil
		}))
	}
}

func TestNaNIsKept(t *testing.T) {
	r := Record{Input: control.Input{Pots: make([]control.PotReadings, 1)}, Kept: Kept{Pots: []Pot{{MeltC: math.NaN()}}}}
	back, err := decode(Encode([]Record{r}))
	require.NoError(t, err)
	assert.True(t, math.IsNaN(back[0].Kept.Pots[0].MeltC))
}

// TestDamageIsSeen: whatever bytes come, Decode returns records or an error.
func TestDamageIsSeen(t *testing.T) {
	r := Record{Input: control.Input{Pots: make([]control.PotReadings, 3)}, Kept: Kept{Pots: make([]Pot, 3)}}
	whole := Encode([]Record{r, r, r})
	random := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		block := append([]byte(nil), whole...)
		block[random.IntN(len(block))] ^= byte(1 + random.IntN(255))
		_, err := decode(block)
		assert.Error(t, err, "the checksum sees every single change")
	}
	for n := range whole {
		_, err := decode(whole[:n])
		assert.Error(t, err)
	}
	_, err := decode(append([]byte{newest + 1}, whole[1:]...))
	assert.ErrorContains(t, err, "use a newer one")
}
