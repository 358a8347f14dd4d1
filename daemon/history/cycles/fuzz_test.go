package cycles

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
)

// blocks are good ones, with and without commands, of several lengths.
func blocks() [][]byte {
	var all [][]byte
	for _, n := range []int{0, 1, 3, 50} {
		var records []Record
		for i := range n {
			r := Record{At: time.UnixMilli(int64(200 * i)), Input: control.Input{Elapsed: 200 * time.Millisecond}}
			for range 3 {
				r.Input.Pots = append(r.Input.Pots, control.PotReadings{Melt: reading.Temperature{C: 168 + float64(i)/10, Fault: reading.None}})
				r.Kept.Pots = append(r.Kept.Pots, Pot{MeltC: math.NaN(), Duty: .3})
			}
			if i%7 == 2 {
				r.Input.Commands = []control.Command{{Kind: control.Stir, Pot: 1}, {Kind: control.Setpoint, C: 171}}
			}
			records = append(records, r)
		}
		all = append(all, Encode(records))
	}
	return all
}

// sealed is a block whose checksum is right, whatever is in it.
func sealed(layout byte, plain []byte) []byte {
	block := compressor.EncodeAll(plain, make([]byte, header))
	block[0] = layout
	binary.LittleEndian.PutUint32(block[1:], crc32.ChecksumIEEE(block[header:]))
	return block
}

// readable reads a block to its end and checks what comes out of it, and that no
// more room was taken than the block can have had in it.
func readable(t *testing.T, block []byte) {
	t.Helper()
	var r Reader
	pots, records := -1, 0
	err := r.Each(block, func(c *Record) error {
		if pots < 0 {
			pots = len(c.Input.Pots)
		}
		records++
		require.Len(t, c.Input.Pots, pots)
		require.Len(t, c.Kept.Pots, pots)
		require.LessOrEqual(t, len(c.Input.Commands), mostCommands)
		return nil
	})
	if err == nil {
		require.Equal(t, block[0], r.columns.format)
	}
	require.LessOrEqual(t, records, len(r.plain))
	require.LessOrEqual(t, len(r.room), len(r.plain))
	require.LessOrEqual(t, len(r.plain), mostPlain)
	again := 0
	errAgain := r.Each(block, func(*Record) error { again++; return nil })
	require.Equal(t, err, errAgain, "a reader that is used again reads the same")
	require.Equal(t, records, again)
}

// FuzzBlock: any bytes are an error or records, never a panic.
func FuzzBlock(f *testing.F) {
	for _, block := range blocks() {
		f.Add(block)
		f.Add(block[:len(block)-1])
	}
	f.Add([]byte{newest + 1, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, block []byte) { readable(t, block) })
}

// FuzzContent: so is anything behind a good checksum, which a program with a mistake
// may have written.
func FuzzContent(f *testing.F) {
	for _, block := range blocks() {
		plain, err := decompressor.DecodeAll(block[header:], nil)
		require.NoError(f, err)
		f.Add(byte(newest), plain)
		f.Add(byte(1), plain)
	}
	f.Add(byte(newest), []byte{0, 0})
	f.Add(byte(newest), append([]byte{255}, binary.AppendUvarint(nil, math.MaxUint64)...))
	f.Fuzz(func(t *testing.T, layout byte, plain []byte) { readable(t, sealed(layout, plain)) })
}

// TestABlockTakesLittleRoom: a few kilobytes with a good checksum could ask for half
// a gigabyte; the longest block that is written, three minutes of sixteen pots with
// every value changing, is far from the bound.
func TestABlockTakesLittleRoom(t *testing.T) {
	var r Reader
	require.ErrorIs(t, r.Each(sealed(newest, make([]byte, mostPlain+1)), nil), ErrDamaged)

	const cycles, pots = 900, 16
	random := rand.New(rand.NewPCG(1, 1))
	temperature := func() reading.Temperature {
		return reading.Temperature{C: math.Round(400*control.PerDegree*random.Float64()) / control.PerDegree,
			Age: time.Duration(random.IntN(1000)) * time.Millisecond, Fault: reading.None}
	}
	records := make([]Record, cycles)
	for i := range records {
		for range pots {
			records[i].Input.Pots = append(records[i].Input.Pots, control.PotReadings{Melt: temperature(), Plate: temperature(), Injector: temperature()})
			records[i].Kept.Pots = append(records[i].Kept.Pots, Pot{Duty: random.Float64(), TargetC: 400 * random.Float64(), MeltC: 400 * random.Float64()})
		}
	}
	require.NoError(t, r.Each(Encode(records), func(*Record) error { return nil }))
	require.Less(t, len(r.plain), mostPlain/4)
	t.Logf("three minutes of %d pots: %d kB", pots, len(r.plain)>>10)
}
