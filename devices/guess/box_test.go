package guess_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"meltwarden/devices/guess"
	"meltwarden/devices/registers"
)

// box is a device with an unknown map, and a hand at its probes. It is drawn by chance and
// shares no code with what it judges. All of it is invented.
type box struct {
	chance *rand.Rand
	words  string // of its map
	kind   string // of its numbers

	function uint8
	start    int // the address of the first channel
	stride   int
	bytes    int // 2 or 4
	float    bool
	lowFirst bool
	swapped  bool // the bytes of a register
	scale    float64
	digits   float64 // what a float is rounded to, 0 for not
	f        bool    // Fahrenheit

	roomC, terminalsC, handC float64
	c                        []float64 // the tips
	gain                     []float64 // of what is shown above the terminals: less than 0 for swapped leads
	noiseC, tau              []float64
	open                     int // a channel without a probe, or -1
	sentinel                 []uint16
	clutter                  map[int]func(second int) uint16
	second                   int
}

const channels = 8

func newBox(seed uint64) *box {
	r := rand.New(rand.NewPCG(seed, 8))
	b := &box{chance: r, clutter: map[int]func(int) uint16{}, open: -1}
	b.function = pick[uint8](r, 3, 4)
	b.start, b.f, b.swapped = r.IntN(8), r.IntN(3) == 0, r.IntN(8) == 0
	b.kind = pick(r, "int16", "int16", "int32", "float32", "float32")
	b.bytes, b.float = 4, b.kind == "float32"
	if b.kind == "int16" {
		b.bytes = 2
	}
	b.lowFirst = b.bytes == 4 && r.IntN(2) == 0
	b.scale = pick(r, 1, 0.1, 0.1, 0.01)
	if b.float {
		b.scale, b.digits = 1, pick(r, 0, 0.01, 0.1)
	}
	b.stride = b.bytes/2 + pick(r, 0, 0, 0, 1) // with a status of each between, or not
	b.roomC = 15 + 13*r.Float64()
	b.terminalsC, b.handC = b.roomC+3*r.Float64(), 32.5+2*r.Float64()
	for range channels {
		b.c = append(b.c, b.roomC+r.Float64()-0.5)
		b.gain = append(b.gain, 1)
		b.noiseC = append(b.noiseC, 0.02+0.13*r.Float64())
		b.tau = append(b.tau, 2+10*r.Float64())
	}
	reversed := r.IntN(channels)
	b.gain[reversed] = -1
	// A type K probe on an input set to type J shows 40.6 of 51.7 µV/°C; the other way
	// round the inverse (slopes at 25 °C, IEC 60584-1).
	b.gain[(reversed+1+r.IntN(channels-1))%channels] = pick(r, 40.6/51.7, 51.7/40.6)
	if r.IntN(3) == 0 {
		b.open = r.IntN(channels)
		b.sentinel = pick(r, []uint16{0x7FFF, 0xFFFF}, []uint16{0x8000, 0}, []uint16{0xFFFF, 0xFFFF}, []uint16{0, 0})
	}
	b.scatter()
	b.words = fmt.Sprintf("function %d, from %d, every %d, %s", b.function, b.start, b.stride, b.kind)
	return b
}

func pick[T any](r *rand.Rand, choices ...T) T { return choices[r.IntN(len(choices))] }

// scatter puts other things where there is no temperature.
func (b *box) scatter() {
	for at := range span {
		constant := pick(b.chance, 0, 0, 1, 21, 70, 215, 250, 1000, 2150, 0x0101, 0x41AC, 0xFFFF)
		rate := 1 + b.chance.IntN(12)
		switch b.chance.IntN(8) {
		case 0:
			b.clutter[at] = func(second int) uint16 { return uint16(200 + rate*second) } // a counter
		case 1:
			b.clutter[at] = func(int) uint16 { return uint16(b.chance.Uint32()) }
		default:
			b.clutter[at] = func(int) uint16 { return uint16(constant) }
		}
	}
}

// span is how many registers the device has.
const span = 40

// pass lets a second pass while a hand holds some channels.
func (b *box) pass(held ...int) {
	b.second++
	for i := range b.c {
		to := b.roomC
		if slices.Contains(held, i) {
			to = b.handC
		}
		b.c[i] += (to - b.c[i]) * (1 - math.Exp(-1/b.tau[i]))
	}
}

// shown is what a channel shows of a tip, °C.
func (b *box) shown(channel int, tipC float64) float64 {
	return b.terminalsC + b.gain[channel]*(tipC-b.terminalsC)
}

// encode is a temperature in the device's registers.
func (b *box) encode(c float64) []uint16 {
	if b.f {
		c = c*9/5 + 32
	}
	raw := make([]byte, b.bytes)
	switch {
	case b.float:
		if b.digits > 0 {
			c = math.Round(c/b.digits) * b.digits
		}
		binary.BigEndian.PutUint32(raw, math.Float32bits(float32(c)))
	case b.bytes == 2:
		binary.BigEndian.PutUint16(raw, uint16(int32(math.Round(c/b.scale))))
	default:
		binary.BigEndian.PutUint32(raw, uint32(int32(math.Round(c/b.scale))))
	}
	return b.ordered(raw)
}

func (b *box) ordered(raw []byte) (regs []uint16) {
	for i := 0; i < len(raw); i += 2 {
		v := binary.BigEndian.Uint16(raw[i:])
		if b.swapped {
			v = v<<8 | v>>8
		}
		regs = append(regs, v)
	}
	if b.lowFirst {
		slices.Reverse(regs)
	}
	return regs
}

// at is a channel's first address.
func (b *box) at(channel int) int { return b.start + channel*b.stride }

// read is what its registers say now.
func (b *box) read() map[guess.Register]uint16 {
	all := map[guess.Register]uint16{}
	for at, other := range b.clutter {
		all[guess.Register{Function: b.function, Address: uint16(at)}] = other(b.second)
	}
	for i := range channels {
		regs := b.encode(b.shown(i, b.c[i]) + b.noiseC[i]*b.chance.NormFloat64())
		if i == b.open {
			regs = b.sentinel[:b.bytes/2]
		}
		for j, v := range regs {
			all[guess.Register{Function: b.function, Address: uint16(b.at(i) + j)}] = v
		}
		for j := len(regs); j < b.stride; j++ {
			all[guess.Register{Function: b.function, Address: uint16(b.at(i) + j)}] = 0
		}
	}
	return all
}

// hot are the registers when one channel shows a temperature and all others the room's.
func (b *box) hot(channel int, c float64) map[uint16]uint16 {
	all := map[uint16]uint16{}
	for i := range channels {
		shows := b.roomC
		if i == channel {
			shows = c
		}
		for j, v := range b.encode(shows) {
			all[uint16(b.at(i)+j)] = v
		}
	}
	return all
}

// reads reports whether a channel that was recognised reads one of the box's rightly, from
// freezing to where the plates are cut.
func (b *box) reads(c registers.Channel, channel int) bool {
	for _, want := range []float64{1, 60, 123.4, 172.3, 199.9, 250.6, 275} {
		all := b.hot(channel, want)
		var regs []uint16
		for i := range c.Registers() {
			regs = append(regs, all[c.Address+uint16(i)])
		}
		got := c.Temperature(regs, nil, none)
		if c.Function != b.function || math.Abs(got.C-want) > max(b.scale, b.digits)*0.51+0.01 {
			return false
		}
	}
	return true
}
