package assemble

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// How a heater is told.
const (
	byNumber   = "number"
	byCoil     = "coil"
	bySetpoint = "setpoint"
)

// heaters asks how heaters and contactor are told. Nothing of it is tried here.
func (s *script) heaters() bool {
	var keys, names, addresses []string
	for i, name := range s.a.pots() {
		keys, names = append(keys, potKey(i, "heater")), append(names, "heater of pot "+name)
		addresses = append(addresses, potKey(i, "heater"), potKey(i, "process"))
	}
	s.on(TheHeaters, "heaters", "Which device switches the heaters?", keys, names, addresses...)
	way := s.ask(Question{Key: "heaters-by", Step: TheHeaters, Ask: "How is a heater told how much to give?",
		Help: "Its manual says it. Nothing is written to a heater here; later each is tried out a little, and waits for your press.",
		Among: []Choice{{byNumber, "by a number: a register takes a share of full power"}, {byCoil, "by a coil: on or off, a relay or an input of a solid-state relay"},
			{bySetpoint, "by a set-point: a controller heats as it decides, and is told how warm its plate should be"}},
		Check: s.heatedBy,
		Voids: append(addresses, "heaters-function", "heaters-full", "heaters-draw", "heaters-relay", "heaters-life")})
	switch way {
	case byNumber:
		s.byNumber()
		s.addresses()
	case byCoil:
		s.byCoil()
		s.addresses()
	case bySetpoint:
		s.bySetpoint()
	default:
		return false
	}
	s.on(TheHeaters, "contactor", "Which device switches the contactor?", []string{"contactor"}, []string{"contactor"}, "contactor")
	s.ask(Question{Key: "contactor-function", Step: TheHeaters, Ask: "By which function is the contactor's coil written?", Usual: "5", Numeric: true,
		Among: []Choice{{"5", "write one coil"}, {"15", "write coils"}}})
	s.ask(Question{Key: "contactor", Step: TheHeaters, Ask: "At which address is the coil that closes the contactor?", Numeric: true,
		Help: "Everything that heats hangs on the one contactor. Emergency stop and cut-out break its coil in hardware. What it has now is read and shown; nothing is written.", Do: ShowOutput,
		Check: func(typed string) (string, error) { return s.output("contactor", typed) }})
	return s.known()
}

// addresses asks where each heater is written.
func (s *script) addresses() {
	for i, name := range s.a.pots() {
		s.ask(Question{Key: potKey(i, "heater"), Step: TheHeaters, Ask: fmt.Sprintf("At which address is the heater of pot %s?", name), Numeric: true,
			Help: "As on the wire, from 0: a manual that counts from 1, or writes 40001, has it one higher. What it has now is read and shown; nothing is written.", Do: ShowOutput,
			Check: func(typed string) (string, error) { return s.output(potKey(i, "heater"), typed) }})
	}
}

func (s *script) byNumber() {
	s.ask(Question{Key: "heaters-function", Step: TheHeaters, Ask: "By which function is it written?", Usual: "16", Numeric: true,
		Help:  "Its manual lists the functions that it takes. Where it says nothing, begin with 16: one that it refuses shows when it is tried out.",
		Among: []Choice{{"16", "write registers"}, {"6", "write one register"}}})
	s.ask(Question{Key: "heaters-full", Step: TheHeaters, Ask: "Which number means full power?", Numeric: true,
		Help: "Such as 100, 1000 or 10000. 0 has to mean off. With the wrong number a heater gets more than it is told.", Check: full})
	s.ask(Question{Key: "heaters-draw", Step: TheHeaters, Ask: "What does a heater draw while it is told a share?", Usual: "hidden",
		Among: []Choice{{"hidden", "all of it, on and off by the device; or I do not know"}, {"smooth", "that share at every instant, or in single waves of the mains"}}})
}

func (s *script) byCoil() {
	s.ask(Question{Key: "heaters-function", Step: TheHeaters, Ask: "By which function is the coil written?", Usual: "5", Numeric: true,
		Among: []Choice{{"5", "write one coil"}, {"15", "write coils"}}})
	relay := s.ask(Question{Key: "heaters-relay", Step: TheHeaters, Ask: "What switches the heater behind it?",
		Among: []Choice{{mechanical, "a relay or contactor with contacts: it clicks, and wears"}, {"solid-state", "a solid-state relay: it does not click"}}})
	if relay == mechanical {
		s.ask(Question{Key: "heaters-life", Step: TheHeaters, Ask: "For how many operations is it rated at this load?", Usual: "100000", Numeric: true,
			Help: "By its maker's sheet, at the heater's current; 100000 is a common figure. They are counted, and you are reminded of it near their end: worn contacts commonly fail on.", Check: life})
	}
}

// mechanical is a relay with contacts.
const mechanical = "mechanical"

// life is how many operations a relay is rated for.
func life(typed string) (string, error) {
	return inFile(typed, func(f *facts, v string) {
		f.pots[0].heater = "relay: {life: " + v + "}"
		f.channels[1].layout = "function: 5, address: 65535, type: bit"
	})
}

// full is the number of full power.
func full(typed string) (string, error) {
	n, err := strconv.Atoi(typed)
	if err != nil || n < 20 || n > 65535 {
		return "", fmt.Errorf("%q: write a whole number from 20 to 65535; with a smaller one a pot swings", typed)
	}
	return typed, nil
}

// output is the address of what is written, and no other's.
func (s *script) output(key, typed string) (string, error) {
	typed, meant, err := address(typed)
	if err != nil {
		return "", err
	}
	c, is := s.a.outputAt(key, typed)
	for _, other := range s.a.outputs() {
		if o, has := s.a.outputAt(other, wire(s.a[other])); is && has && other != key && o == c {
			return "", fmt.Errorf("%q: that is the address of another output; each has its own", typed)
		}
	}
	if meant {
		typed += " " + asItIs // or it would be asked about once more when it is read from the draft
	}
	return typed, nil
}

// address is an address on the wire, from 0, as it was typed; meant is true for one that looks
// like a sheet's number and was said to be none.
func address(typed string) (number string, meant bool, err error) {
	number, meant = strings.CutSuffix(typed, " "+asItIs)
	if err := notOfSheet(number, number+" "+asItIs); err != nil && !meant {
		return "", false, err
	}
	if n, err := strconv.ParseUint(number, 10, 16); err != nil || fmt.Sprint(n) != number {
		return "", false, fmt.Errorf("%q: write a whole number from 0 to 65535", number)
	}
	return number, meant, nil
}

// notOfSheet refuses a number as sheets write it; otherwise is what to write where it is meant
// as it stands.
func notOfSheet(typed, otherwise string) error {
	onWire, is := sheetNumber(typed)
	if !is {
		return nil
	}
	if typed[0] == '0' { // no address is written so
		otherwise = strings.TrimLeft(typed, "0")
	}
	return fmt.Errorf("%q is how sheets write %d, counting from 1 with the table in front: write %d for that; where it is the address on the wire itself, write %s", typed, onWire, onWire, otherwise)
}

// asItIs stands behind an address that looks like a sheet's number and is none.
const asItIs = "wire"

// wire is an address as it was typed, as a bench file has it.
func wire(typed string) string { return strings.TrimSuffix(typed, " "+asItIs) }

// sheetNumber is the address on the wire of a number as sheets write it, with the table's
// digit in front (Modbus application protocol V1.1b3, 4.4: registers are numbered from 1,
// addressed from 0; that digit is common practice, no source).
func sheetNumber(typed string) (uint64, bool) {
	n, err := strconv.ParseUint(typed, 10, 32)
	if err == nil && typed[0] == '0' { // the table of the coils shows by its digits only
		return n - 1, (len(typed) == 5 || len(typed) == 6) && 1 <= n && n <= 65536
	}
	for _, table := range []uint64{1, 3, 4} {
		for _, digits := range []uint64{10000, 100000} {
			if first := table*digits + 1; err == nil && first <= n && n < first+min(digits-1, 65536) {
				return n - first, true
			}
		}
	}
	return 0, false
}

// showOutput reads what an output has now, and says it: nothing is written. Many can not be
// read, which is said as well.
func (s *session) showOutput(ctx context.Context, q Question, answer string) error {
	at, is := s.outputAt(q.Key, wire(answer))
	if !is {
		return nil
	}
	n, _ := strconv.ParseUint(at.address, 10, 16) // it was accepted as a number
	c := registers.Channel{Function: modbus.ReadHolding, Address: uint16(n), Type: registers.Uint16, Scale: 1}
	if at.table == "coil" {
		c.Function, c.Type = modbus.ReadCoils, registers.Bit
	}
	data, err := s.once(ctx, s.unitOf(q.Key), c)
	switch {
	case ctx.Err() != nil:
		return ErrStopped
	case err != nil:
		s.say("  It can not be read back (%v). Is this the right device, and the address on the wire, from 0? Some outputs can be written only: then the manual's word has to do, and trying out shows it.", err)
	case at.table == "coil":
		s.tellOutput(at, map[bool]uint16{true: 1}[modbus.Bits(data, 1)[0]])
	default:
		s.tellOutput(at, modbus.Registers(data)[0])
	}
	return nil
}

// tellOutput says what an output has: nothing should be on yet.
func (s *session) tellOutput(at place, has uint16) {
	if has == 0 {
		s.say("  The %s at address %s of %s reads 0 now, as one that is off.", at.table, at.address, at.device)
		return
	}
	s.say("  The %s at address %s of %s reads %d now, and 0 has to be off: is it on, or another %s? Look again at the manual, and type < to change it.", at.table, at.address, at.device, has, at.table)
}

// outputs are the keys of all that is written to.
func (a Answers) outputs() (keys []string) {
	for i := range a.pots() {
		keys = append(keys, potKey(i, "heater"))
	}
	return append(keys, "contactor")
}

// place is a device, one of its tables, and an address.
type place struct{ device, table, address string }

// outputAt is where an output is written.
func (a Answers) outputAt(key, address string) (place, bool) {
	table := "coil"
	if key != "contactor" && a["heaters-by"] == byNumber {
		table = "register"
	}
	return place{a.deviceOf(key), table, address}, address != ""
}
