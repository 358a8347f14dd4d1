package registers

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Invented channels, one of each way to be wired.
func meltChannel() Channel {
	return Channel{
		Role: Melt, Pot: "left", Device: "inputs", Function: 4, Address: 3, Type: Int16, Words: HighFirst, Bytes: HighFirst,
		Scale: 0.1, Unit: Celsius, Sentinels: []float64{0x7FFF}, Status: &Status{Function: 4, Address: 9, Open: 1},
	}
}

func millivoltChannel() Channel {
	return Channel{
		Role: Plate, Pot: "left", Device: "amplifier", Function: 3, Type: Float32, Words: LowFirst, Bytes: LowFirst,
		Scale: 1, Unit: Millivolt, Thermocouple: "K",
	}
}

func coldJunctionChannel() Channel {
	return Channel{
		Role: ColdJunction, Device: "amplifier", Function: 3, Address: 2, Type: Int16, Words: HighFirst, Bytes: HighFirst,
		Scale: 0.1, Unit: Fahrenheit,
	}
}

func contactChannel() Channel {
	return Channel{Role: Pedal, Device: "contacts", Function: 2, Type: Bit, Scale: 1, Invert: true}
}

func heaterChannel() Channel {
	return Channel{
		Role: Heater, Pot: "left", Device: "power", Function: 16, Type: Uint16, Words: HighFirst, Bytes: HighFirst,
		Scale: 0.0001, Unit: Fraction,
	}
}

func switchChannel() Channel {
	return Channel{Role: Heater, Pot: "left", Device: "relays", Function: 5, Type: Bit, Scale: 1}
}

func setpointChannel() Channel {
	return Channel{
		Role: Setpoint, Pot: "left", Device: "controller", Function: 6, Type: Int16, Words: HighFirst, Bytes: HighFirst,
		Scale: 0.1, Unit: Celsius, RestC: 20, Senses: OfPlate,
	}
}

func lampChannel() Channel {
	return Channel{Role: Lamp, Device: "relays", Function: 15, Address: 7, Type: Bit, Scale: 1, Invert: true}
}

func TestSensibleChannelsPass(t *testing.T) {
	current := heaterChannel() // 4 to 20 mA in counts of 0 to 20000: 4000 is off
	current.Scale, current.Offset = 1.0/16000, -0.25
	percent := heaterChannel()
	percent.Function, percent.Scale, percent.Unit = 6, 1, Percent
	float := heaterChannel()
	float.Type, float.Scale, float.Unit = Float32, 1, Percent
	last := meltChannel()
	last.Address, last.Type, last.CorrectionC = 65534, Int32, -1.5
	masked := contactChannel()
	masked.Function, masked.Mask = 3, 0x8000
	for _, c := range []Channel{
		meltChannel(), millivoltChannel(), coldJunctionChannel(), contactChannel(), heaterChannel(), switchChannel(),
		lampChannel(), current, percent, float, last, masked,
	} {
		assert.NoError(t, c.Validate(), "%+v", c)
	}
}

// change is one mistake in a sensible channel, and the message about it.
type change struct {
	of      func() Channel
	mistake func(c *Channel)
	want    string
}

func TestMistakesAreNamedWithTheirFix(t *testing.T) {
	for _, x := range []change{
		{meltChannel, func(c *Channel) { c.Role = "hood" }, `role: "hood": not known; write melt, plate, injector, mould, room, cold-junction, e-stop, cut-out, fan, pedal, enable, stir-button, draw-button, shot-button, lid, heater, setpoint, setpoint-read, process-value, lamp, buzzer or contactor`},
		{meltChannel, func(c *Channel) { c.Pot = "" }, `pot: a melt belongs to a pot; write the pot's name`},
		{contactChannel, func(c *Channel) { c.Pot = "left" }, `pot: "left": role pedal belongs to no pot; leave it out`},
		{meltChannel, func(c *Channel) { c.Device = "" }, `device: missing; write the name of a device of the bench`},
		{meltChannel, func(c *Channel) { c.Function = 16 }, `function: "16": does not go with role melt and type int16; write 3 or 4`},
		{contactChannel, func(c *Channel) { c.Function = 5 }, `function: "5": does not go with role pedal and type bit; write 1, 2, 3 or 4`},
		{contactChannel, func(c *Channel) { c.Function = 4 }, `mask: a register has 16 bits; write which of them is the contact, such as 0x0001 for the lowest`},
		{contactChannel, func(c *Channel) { c.Function, c.Mask = 3, 6 }, `mask: "0x0006": more than one bit; write one of 0x0001, 0x0002, 0x0004, 0x0008, 0x0010 and so on`},
		{contactChannel, func(c *Channel) { c.Mask = 1 }, `mask: "0x0001": only a contact that is read by function 3 or 4 is a bit of a register; leave it out`},
		{meltChannel, func(c *Channel) { c.Mask = 1 }, `mask: "0x0001": only a contact that is read by function 3 or 4 is a bit of a register; leave it out`},
		{heaterChannel, func(c *Channel) { c.Function = 3 }, `function: "3": does not go with role heater and type uint16; write 6 or 16`},
		{heaterChannel, func(c *Channel) { c.Function, c.Type = 6, Float32 }, `function: "6": does not go with role heater and type float32; write 16`},
		{switchChannel, func(c *Channel) { c.Function = 16 }, `function: "16": does not go with role heater and type bit; write 5 or 15`},
		{lampChannel, func(c *Channel) { c.Function = 1 }, `function: "1": does not go with role lamp and type bit; write 5 or 15`},
		{meltChannel, func(c *Channel) { c.Type = Bit }, `type: "bit": role melt does not come so; write int16, uint16, int32, uint32 or float32`},
		{contactChannel, func(c *Channel) { c.Type = Int16 }, `type: "int16": role pedal does not come so; write bit`},
		{heaterChannel, func(c *Channel) { c.Type = "int8" }, `type: "int8": role heater does not come so; write bit, int16, uint16, int32, uint32 or float32`},
		{meltChannel, func(c *Channel) { c.Address, c.Type = 65535, Uint32 }, `address: "65535": the value's second register would be beyond 65535; check the address`},
		{meltChannel, func(c *Channel) { c.Words = "middle-first" }, `words: "middle-first": not known; write high-first or low-first`},
		{meltChannel, func(c *Channel) { c.Bytes = "" }, `bytes: missing; write high-first or low-first`},
		{contactChannel, func(c *Channel) { c.Words = LowFirst }, `words: "low-first": a bit has no order; leave it out`},
		{meltChannel, func(c *Channel) { c.Unit = NoUnit }, `unit: missing; write C, F or mV`},
		{meltChannel, func(c *Channel) { c.Unit = Percent }, `unit: "percent": does not go with role melt and type int16; write C, F or mV`},
		{coldJunctionChannel, func(c *Channel) { c.Unit, c.Thermocouple = Millivolt, "K" }, `unit: "mV": does not go with role cold-junction and type int16; write C or F`},
		{heaterChannel, func(c *Channel) { c.Unit = Celsius }, `unit: "C": does not go with role heater and type uint16; write fraction or percent`},
		{switchChannel, func(c *Channel) { c.Unit = Fraction }, `unit: "fraction": does not go with role heater and type bit; leave it out`},
		{meltChannel, func(c *Channel) { c.Scale = 0 }, `scale: "0": every value would be lost; write what one count is worth, such as 0.1`},
		{meltChannel, func(c *Channel) { c.Scale = math.NaN() }, `scale: "NaN": every value would be lost; write what one count is worth, such as 0.1`},
		{meltChannel, func(c *Channel) { c.Offset = math.Inf(1) }, `offset: "+Inf": not a finite number; write what is added after scaling, such as 0`},
		{contactChannel, func(c *Channel) { c.Scale = 0.1 }, `scale: "0.1": a bit has no scale; leave it out`},
		{contactChannel, func(c *Channel) { c.Offset = 1 }, `offset: "1": a bit has no offset; leave it out`},
		{heaterChannel, func(c *Channel) { c.Scale = -0.0001 }, `scale: "-0.0001": a higher number must mean more heat; write a scale above 0`},
		{heaterChannel, func(c *Channel) { c.Offset = 0.5 }, `offset: "0.5": a register that is still 0 would mean heat; write 0 or less`},
		{heaterChannel, func(c *Channel) { c.Scale = 1 }, `scale: "1": steps of more than 5 % of full power; write what one count is worth, such as 0.0001`},
		{heaterChannel, func(c *Channel) { c.Offset = -0.00005 }, `offset: "-5e-05": no number of this type means exactly off; write a whole multiple of the scale`},
		{heaterChannel, func(c *Channel) { c.Scale = 0.00001 }, `scale: "1e-05": full power does not fit into the type; write a larger scale or type`},
		{meltChannel, func(c *Channel) { c.Sentinels = []float64{0x8000} }, `sentinels: "32768": int16 never reads so; write the number as the type reads it, such as -32768 for 0x8000 in int16`},
		{millivoltChannel, func(c *Channel) { c.Sentinels = []float64{0.1} }, `sentinels: "0.1": float32 never reads so; write the number as the type reads it, such as -32768 for 0x8000 in int16`},
		{setpointChannel, func(c *Channel) { c.RestC = 0 }, `rest: missing; write what the controller is told while heat is off, such as 5 C`},
		{setpointChannel, func(c *Channel) { c.Senses = "melt" }, `senses: "melt": only a controller that senses its plate can be told how warm that may get; move its sensor to the plate, and write plate`},
		{setpointChannel, func(c *Channel) { c.Senses = "" }, `senses: missing: nobody can tell from the outside where the controller's own sensor sits; write plate, once its sensor sits on the plate`},
		{setpointChannel, func(c *Channel) { c.Scale = -0.1 }, `scale: "-0.1": a higher number must mean a higher set-point; write a scale above 0`},
		{setpointChannel, func(c *Channel) { c.Scale, c.Unit = 4, Fahrenheit }, `scale: "4": steps of more than 1 °C; write what one count is worth, such as 0.1`},
		{setpointChannel, func(c *Channel) { c.Scale = 0.009 }, `scale: "0.009": 300 °C does not fit into the type; write a larger scale or type`},
		{setpointChannel, func(c *Channel) { c.Unit = Percent }, `unit: "percent": does not go with role setpoint and type int16; write C or F`},
		{setpointChannel, func(c *Channel) { c.Function = 4 }, `function: "4": does not go with role setpoint and type int16; write 6 or 16`},
		{meltChannel, func(c *Channel) { c.RestC = 20 }, `rest: "20 C": role melt is told no set-point; leave it out`},
		{heaterChannel, func(c *Channel) { c.Senses = OfPlate }, `senses: "plate": role heater is told no set-point; leave it out`},
		{contactChannel, func(c *Channel) { c.Sentinels = []float64{1} }, `sentinels: "1": role pedal has no measurement; leave it out`},
		{meltChannel, func(c *Channel) { c.Status.Function = 2 }, `status.function: "2": a status is read from a register; write 3 or 4`},
		{meltChannel, func(c *Channel) { c.Status.Open = 0 }, `status: no bit of it means anything; write a mask for open, shorted or fault, such as 0x0001`},
		{contactChannel, func(c *Channel) { c.Status = &Status{Function: 4, Fault: 1} }, `status: role pedal has no measurement; leave it out`},
		{meltChannel, func(c *Channel) { c.Invert = true }, `invert: "true": only a bit can be inverted; leave it out`},
		{switchChannel, func(c *Channel) { c.Invert = true }, `invert: "true": a coil that is still 0 would mean heat; leave it out, and wire the coil so that 0 is off`},
		{lampChannel, func(c *Channel) { c.Role = Contactor }, `invert: "true": a coil that is still 0 would mean heat; leave it out, and wire the coil so that 0 is off`},
		{contactChannel, func(c *Channel) { c.Role = EStop }, `invert: "true": a broken wire would read as healthy; leave it out, and wire the contact normally closed`},
		{contactChannel, func(c *Channel) { c.Role = CutOut }, `invert: "true": a broken wire would read as healthy; leave it out, and wire the contact normally closed`},
		{contactChannel, func(c *Channel) { c.Role = Fan }, `invert: "true": a broken wire would read as healthy; leave it out, and wire the contact normally closed`},
		{contactChannel, func(c *Channel) { c.Role = Enable }, `invert: "true": a broken wire would read as pressed; leave it out, and wire the button normally open`},
		{meltChannel, func(c *Channel) { c.Thermocouple = "K" }, `thermocouple: "K": only millivolts are converted here; leave it out, and set the type on the device`},
		{millivoltChannel, func(c *Channel) { c.Thermocouple = "" }, `thermocouple: millivolts need the type of their thermocouple; write B, E, J, K, N, R, S or T`},
		{meltChannel, func(c *Channel) { c.CorrectionC = math.NaN() }, `correction: "NaN": not a finite number; write a temperature difference, such as -1.2 C`},
		{heaterChannel, func(c *Channel) { c.CorrectionC = 2 }, `correction: "2 C": role heater has no temperature; leave it out`},
		{meltChannel, func(c *Channel) { c.Calibrated.PerC = math.Inf(1) }, `calibration: "{0 +Inf}": not a finite number; calibrate again`},
		{heaterChannel, func(c *Channel) { c.Calibrated.OffsetC = 1 }, `calibration: "{1 0}": role heater has no temperature; take it back`},
	} {
		c := x.of()
		x.mistake(&c)
		assert.EqualError(t, c.Validate(), x.want)
	}
}

func TestEveryProblemIsNamedAtOnce(t *testing.T) {
	c := meltChannel()
	c.Pot, c.Function, c.Scale = "", 1, 0
	var all *Error
	require.True(t, errors.As(c.Validate(), &all))
	var keys []string
	for _, p := range all.Problems {
		keys = append(keys, p.Key)
	}
	assert.Equal(t, []string{"pot", "function", "scale"}, keys)
}

func TestEveryRoleCanBeWired(t *testing.T) {
	like := map[kind]func() Channel{temperature: coldJunctionChannel, contact: contactChannel, heater: heaterChannel, target: setpointChannel, relay: lampChannel}
	for _, role := range Roles() {
		c := like[role.kind()]()
		c.Role, c.Pot, c.Invert = role, "", false
		if role.ofPot() {
			c.Pot = "left"
		}
		assert.NoError(t, c.Validate(), role)
	}
}
