// Package registers says where on a device a value lives and what its bits
// mean: function, address, type, order, scale, unit, sentinels and fault bits.
// It turns raw registers into values and values into raw registers, and plans
// which neighbouring registers are read in one request. It does no I/O.
package registers

// Role is what a channel is to the bench.
type Role string

// The roles a channel can have.
const (
	Melt         Role = "melt"
	Plate        Role = "plate"
	Injector     Role = "injector"
	Mould        Role = "mould"
	Room         Role = "room"
	ColdJunction Role = "cold-junction" // reference for a device that reports millivolts
	EStop        Role = "e-stop"
	CutOut       Role = "cut-out"
	Fan          Role = "fan"
	Pedal        Role = "pedal"
	Enable       Role = "enable"
	StirButton   Role = "stir-button" // marks a stir of its pot; likewise the next two
	DrawButton   Role = "draw-button"
	ShotButton   Role = "shot-button"
	Lid          Role = "lid" // of a pot, or of the bench: closed while it is on
	Heater       Role = "heater"
	Setpoint     Role = "setpoint"      // what a controller that closes a pot's loop by itself is told
	SetpointRead Role = "setpoint-read" // where it says what it has of that
	ProcessValue Role = "process-value" // what it reads itself
	Lamp         Role = "lamp"
	Buzzer       Role = "buzzer"
	Contactor    Role = "contactor"
)

// Type is how a number is laid out in registers.
type Type string

// The types a register map knows. Bit is a coil, a discrete input or, with a mask, one bit
// of a register.
const (
	Bit     Type = "bit"
	Int16   Type = "int16"
	Uint16  Type = "uint16"
	Int32   Type = "int32"
	Uint32  Type = "uint32"
	Float32 Type = "float32"
)

// Order says which part of a number comes first.
type Order string

// The two orders; the open standard's own is HighFirst for both words and bytes.
const (
	HighFirst Order = "high-first"
	LowFirst  Order = "low-first"
)

// Unit is the unit of the decoded value.
type Unit string

// The units a channel can have.
const (
	Celsius    Unit = "C"
	Fahrenheit Unit = "F"
	Millivolt  Unit = "mV"
	Fraction   Unit = "fraction" // a duty, 0 to 1
	Percent    Unit = "percent"  // a duty, 0 to 100
	NoUnit     Unit = ""         // a contact
)

// Channel is one value of one device. value = raw × Scale + Offset, in Unit. Only
// a channel that Validate finds nothing wrong with means what it says; any other
// still makes nothing panic.
type Channel struct {
	Role   Role
	Pot    string // the pot's name, for what belongs to one: see ofPot; for lid, or ""
	Device string // the device's name
	// Function is the Modbus function: 1 to 4 for what is read; 5, 6, 15 or 16
	// for what is written.
	Function uint8
	Address  uint16 // as on the wire, from 0
	Type     Type
	Words    Order   // order of the two registers of a 32-bit value; "" for a bit
	Bytes    Order   // order of the two bytes of a register; "" for a bit
	Scale    float64 // 1 for a bit
	Offset   float64
	Unit     Unit
	// Sentinels are raw values (as the type reads them, before scale) that mean
	// "no measurement".
	Sentinels []float64
	// Status, where set, is a register with fault bits for this channel.
	Status *Status
	Invert bool // pedal, buttons that mark, lid, lamp and buzzer: closed is 0
	// Mask is the one bit of its register that a contact is, read by function 3 or 4; 0 for
	// a coil or a discrete input. It is left out of JSON where it is none, as Calibrated is.
	Mask uint16 `json:",omitzero"`
	// MarksShot is true for a pedal of which a short press marks a shot. What a press means is
	// nothing of the hardware: no digest goes by it.
	MarksShot bool `json:"-"`
	// Thermocouple is the type letter, for a channel in millivolts, whose
	// reference-junction temperature is the device's cold-junction channel.
	Thermocouple string
	// RestC is what a controller is told while its pot gets no heat, in degrees Celsius, and
	// Senses where its own sensor sits. Both are left out of JSON elsewhere, by whose digest
	// channels are known again.
	RestC  float64 `json:",omitzero"`
	Senses Sensed  `json:",omitzero"`
	// CorrectionC is added to the temperature: the maker's own, as typed.
	CorrectionC float64
	// Calibrated is added after that. It comes from no bench file, and is left out of JSON
	// where it is none, by whose digest channels are known again.
	Calibrated Calibrated `json:",omitzero"`
}

// Sensed is where a controller's own sensor sits.
type Sensed string

// OfPlate is the only place from which a controller holds a plate under its limit.
const OfPlate Sensed = "plate"

// Calibrated is what a calibration adds to a temperature: OffsetC + PerC × that temperature,
// in °C. Its zero adds nothing.
type Calibrated struct {
	OffsetC float64 `json:"offset_c"`
	PerC    float64 `json:"per_c"`
}

// At is what it adds to a temperature in °C.
func (k Calibrated) At(celsius float64) float64 { return k.OffsetC + k.PerC*celsius }

// Status is a register with fault bits, in the standard's own byte order, read
// with its channel. Where bits of several masks are set, Open comes before
// Shorted and Shorted before Fault.
type Status struct {
	Function uint8 // 3 or 4
	Address  uint16
	Open     uint16 // mask: any of these bits means an open thermocouple
	Shorted  uint16 // mask: any of these bits means a short
	Fault    uint16 // mask: any of these bits means another fault of the device
}

// Registers returns how many registers the channel takes, or bits for a channel
// of type Bit: 1 or 2.
func (c Channel) Registers() int {
	switch c.Type {
	case Int32, Uint32, Float32:
		return 2
	}
	return 1
}
