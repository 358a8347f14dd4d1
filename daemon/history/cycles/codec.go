package cycles

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"github.com/klauspost/compress/zstd"

	"meltwarden/control"
)

// columns are the values of a block of records, one column for each field,
// being written or read row by row.
type columns struct {
	reading bool
	format  byte
	values  [][]int64
	column  int
	row     int
	err     error
}

// next returns the place of the next value in the row.
func (c *columns) next() *int64 {
	if c.column == len(c.values) {
		if c.reading {
			c.err = errDamaged
			return new(int64)
		}
		c.values = append(c.values, nil)
	}
	col := &c.values[c.column]
	c.column++
	if !c.reading {
		*col = append(*col, 0)
		return &(*col)[c.row]
	}
	if c.row >= len(*col) {
		c.err = errDamaged
		return new(int64)
	}
	return &(*col)[c.row]
}

func number[T ~int | ~uint8 | ~uint32 | ~uint64](c *columns, v *T) {
	p := c.next()
	if c.reading {
		*v = T(*p)
	} else {
		*p = int64(*v)
	}
}

func (c *columns) bool(v *bool) {
	p := c.next()
	if c.reading {
		*v = *p != 0
	} else if *v {
		*p = 1
	}
}

// duration keeps milliseconds.
func (c *columns) duration(v *time.Duration) {
	p := c.next()
	if c.reading {
		*v = time.Duration(*p) * time.Millisecond
	} else {
		*p = v.Milliseconds()
	}
}

func (c *columns) time(v *time.Time) {
	p := c.next()
	if c.reading {
		*v = time.UnixMilli(*p)
	} else {
		*p = v.UnixMilli()
	}
}

// notANumber stands for NaN and the infinities.
const notANumber = math.MinInt64 / 4

// scaled keeps a number in steps of 1/per.
func (c *columns) scaled(v *float64, per float64) {
	p := c.next()
	switch {
	case c.reading && *p == notANumber:
		*v = math.NaN()
	case c.reading:
		*v = float64(*p) / per
	case math.IsNaN(*v) || math.IsInf(*v, 0):
		*p = notANumber
	default:
		*p = int64(math.Round(*v * per))
	}
}

var errDamaged = errors.New("a block of cycles is damaged")

// The first byte of a block is its layout; what was ever written can be read.
const (
	withTemperatures = 2 // commands carry a temperature
	newest           = withTemperatures
)

// header is the format and the checksum of what follows.
const header = 5

var (
	compressor, _   = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedDefault), zstd.WithEncoderConcurrency(1))
	decompressor, _ = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))
)

// Encode packs records of one run, all with the same number of pots.
func Encode(records []Record) []byte {
	c := &columns{format: newest}
	pots := 0
	for i := range records {
		pots = len(records[i].Input.Pots)
		c.column, c.row = 0, i
		walk(c, &records[i], pots)
	}
	plain := []byte{byte(pots)}
	plain = binary.AppendUvarint(plain, uint64(len(records)))
	for _, col := range c.values {
		last := int64(0)
		for _, v := range col {
			plain = binary.AppendVarint(plain, v-last)
			last = v
		}
	}
	block := compressor.EncodeAll(plain, make([]byte, header))
	block[0] = newest
	binary.LittleEndian.PutUint32(block[1:], crc32.ChecksumIEEE(block[header:]))
	return block
}

// Decode unpacks what Encode has packed. A block that is damaged or of a newer
// format is an error.
func Decode(block []byte) ([]Record, error) {
	if len(block) < header {
		return nil, errDamaged
	}
	if block[0] > newest || block[0] == 0 {
		return nil, fmt.Errorf("a block of cycles has layout %d; this program knows up to %d: use a newer one", block[0], newest)
	}
	if binary.LittleEndian.Uint32(block[1:]) != crc32.ChecksumIEEE(block[header:]) {
		return nil, errDamaged
	}
	plain, err := decompressor.DecodeAll(block[header:], nil)
	if err != nil || len(plain) == 0 {
		return nil, errDamaged
	}
	pots := int(plain[0])
	n, used := binary.Uvarint(plain[1:])
	if used <= 0 || n > uint64(len(plain)) {
		return nil, errDamaged
	}
	c, err := readColumns(plain[1+used:], int(n), block[0])
	if err != nil {
		return nil, err
	}
	return c.records(int(n), pots)
}

func readColumns(plain []byte, rows int, format byte) (*columns, error) {
	c := &columns{reading: true, format: format}
	for len(plain) > 0 && rows > 0 {
		col := make([]int64, rows)
		last := int64(0)
		for i := range col {
			d, used := binary.Varint(plain)
			if used <= 0 {
				return nil, errDamaged
			}
			plain = plain[used:]
			last += d
			col[i] = last
		}
		c.values = append(c.values, col)
	}
	return c, nil
}

func (c *columns) records(rows, pots int) ([]Record, error) {
	out := make([]Record, rows)
	for i := range out {
		out[i].Input.Pots = make([]control.PotReadings, pots)
		out[i].Kept.Pots = make([]Pot, pots)
		c.column, c.row = 0, i
		walk(c, &out[i], pots)
		if c.err != nil {
			return nil, c.err
		}
		if c.column != len(c.values) {
			return nil, errDamaged
		}
	}
	return out, nil
}
