package cycles

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"github.com/klauspost/compress/zstd"
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
	// changing are the columns that change within a block being read, but for those of
	// commands where their number does: commands is then the first of those, and else zero.
	changing []changing
	commands int
}

// changing is a column and what puts a value of it into its field.
type changing struct {
	values []int64
	set    func(int64)
}

// next returns the place of the next value in the row.
func (c *columns) next() *int64 {
	if c.column >= len(c.values) {
		if c.reading {
			c.err = ErrDamaged
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
	if c.row < len(*col) {
		return &(*col)[c.row]
	}
	return &(*col)[0] // the same all through
}

// read puts the next value of the row into its field, and notes how where the rows after
// it have others.
func (c *columns) read(set func(int64)) {
	if c.commands == 0 && c.changes() {
		c.changing = append(c.changing, changing{c.values[c.column], set})
	}
	set(*c.next())
}

// changes reports whether the next value is another in other rows.
func (c *columns) changes() bool {
	return c.column < len(c.values) && len(c.values[c.column]) > 1
}

func number[T ~int | ~uint8 | ~uint32 | ~uint64](c *columns, v *T) {
	if c.reading {
		c.read(func(p int64) { *v = T(p) })
	} else {
		*c.next() = int64(*v)
	}
}

func (c *columns) bool(v *bool) {
	if c.reading {
		c.read(func(p int64) { *v = p != 0 })
	} else if p := c.next(); *v {
		*p = 1
	}
}

// duration keeps milliseconds.
func (c *columns) duration(v *time.Duration) {
	if c.reading {
		c.read(func(p int64) { *v = time.Duration(p) * time.Millisecond })
	} else {
		*c.next() = v.Milliseconds()
	}
}

func (c *columns) time(v *time.Time) {
	if c.reading {
		c.read(func(p int64) { *v = time.UnixMilli(p) })
	} else {
		*c.next() = v.UnixMilli()
	}
}

// notANumber stands for NaN and the infinities.
const notANumber = math.MinInt64 / 4

// scaled keeps a number in steps of 1/per.
func (c *columns) scaled(v *float64, per float64) {
	switch {
	case c.reading:
		c.read(func(p int64) { *v = unscaled(p, per) })
	case math.IsNaN(*v) || math.IsInf(*v, 0):
		*c.next() = notANumber
	default:
		*c.next() = int64(math.Round(*v * per))
	}
}

func unscaled(p int64, per float64) float64 {
	if p == notANumber {
		return math.NaN()
	}
	return float64(p) / per
}

// ErrDamaged is returned for a block that is not as it was written.
var ErrDamaged = errors.New("a block of cycles is damaged")

// The first byte of a block is its layout; what was ever written can be read.
const (
	withTemperatures = 2 // commands carry a temperature
	withAfar         = 3 // commands say whether they were made on another computer
	withAside        = 4 // commands say which warning they are about, and for how long
	withAmounts      = 5 // commands carry a volume
	withEstimates    = 6 // pots carry what is thought of a place without a probe
	withTakenBack    = 7 // commands say which mark they take back
	withControllers  = 8 // pots carry what their controllers say and are told
	newest           = withControllers
)

// header is the format and the checksum of what follows.
const header = 5

// mostPlain is the most that a block may hold unpacked, in bytes: many times what
// three minutes of sixteen pots do, and little enough for a small computer, where a
// column takes eight times as much room.
const mostPlain = 8 << 20

var (
	compressor, _   = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedDefault), zstd.WithEncoderConcurrency(1))
	decompressor, _ = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(mostPlain))
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

// Reader unpacks blocks, each into the room of the one before, so that reading a
// whole evening leaves little behind. The zero value is ready for use by one
// goroutine.
type Reader struct {
	record  Record
	columns columns
	plain   []byte
	room    []int64
}

// Each unpacks what Encode has packed and calls f with one record after the other, each
// written over by the next; f may not change it. It ends with the first error, of f too; a
// block that is damaged or of a newer format is one.
func (r *Reader) Each(block []byte, f func(*Record) error) error {
	if len(block) < header {
		return ErrDamaged
	}
	if block[0] > newest || block[0] == 0 {
		return fmt.Errorf("a block of cycles has layout %d; this program knows up to %d: use a newer one", block[0], newest)
	}
	if binary.LittleEndian.Uint32(block[1:]) != crc32.ChecksumIEEE(block[header:]) {
		return ErrDamaged
	}
	var err error
	if r.plain, err = decompressor.DecodeAll(block[header:], r.plain[:0]); err != nil || len(r.plain) == 0 {
		return ErrDamaged
	}
	pots := int(r.plain[0])
	n, used := binary.Uvarint(r.plain[1:])
	if used <= 0 || n > uint64(len(r.plain)) {
		return ErrDamaged
	}
	if err := r.readColumns(r.plain[1+used:], int(n), block[0]); err != nil {
		return err
	}
	return r.records(int(n), pots, f)
}

// readColumns undoes the differences. Nearly all columns stay the same through a
// block; those keep one value.
func (r *Reader) readColumns(plain []byte, rows int, format byte) error {
	r.columns = columns{reading: true, format: format, values: r.columns.values[:0], changing: r.columns.changing[:0]}
	r.room = r.room[:0]
	unchanged := make([]byte, max(rows-1, 0))
	for len(plain) > 0 && rows > 0 {
		first, used := binary.Varint(plain)
		if used <= 0 || len(plain) < used+len(unchanged) {
			return ErrDamaged
		}
		begin := len(r.room)
		r.room = append(r.room, first)
		if plain = plain[used:]; bytes.Equal(plain[:len(unchanged)], unchanged) {
			plain = plain[len(unchanged):]
		} else if plain = r.readColumn(plain, first, rows-1); plain == nil {
			return ErrDamaged
		}
		r.columns.values = append(r.columns.values, r.room[begin:len(r.room):len(r.room)])
	}
	return nil
}

// readColumn reads what is left of a column after its first value, and returns what
// follows it: nil when it is damaged.
func (r *Reader) readColumn(plain []byte, last int64, rows int) []byte {
	for range rows {
		d, used := binary.Varint(plain)
		if used <= 0 {
			return nil
		}
		plain = plain[used:]
		last += d
		r.room = append(r.room, last)
	}
	return plain
}

// records walks the first row of a block, and of each other one what changes.
func (r *Reader) records(rows, pots int, f func(*Record) error) error {
	c, to := &r.columns, &r.record
	to.Input.Pots = sized(to.Input.Pots, pots)
	to.Kept.Pots = sized(to.Kept.Pots, pots)
	for c.row = range rows {
		if c.row == 0 {
			walk(c, to, pots)
		} else {
			c.walkChanges(to)
		}
		if c.err != nil {
			return c.err
		}
		if c.column != len(c.values) {
			return ErrDamaged
		}
		if err := f(to); err != nil {
			return err
		}
	}
	return nil
}

// walkChanges reads of a row what is not as in the one before it.
func (c *columns) walkChanges(to *Record) {
	for _, changed := range c.changing {
		changed.set(changed.values[c.row])
	}
	if c.commands > 0 {
		c.column = c.commands
		walkCommands(c, to)
	}
}

// sized is a list of n, in the same room where it is large enough.
func sized[T any](list []T, n int) []T {
	if cap(list) < n {
		return make([]T, n)
	}
	return list[:n]
}
