package simbench

import (
	"errors"

	"meltwarden/devices/modbus"
)

// unitTables returns a copy of a unit's data; there is none for a unit that is
// not on the line.
func (b *Bench) unitTables(unit uint8) (tables, bool) {
	switch unit {
	case UnitThermocouples:
		return b.thermocoupleTables(), true
	case UnitPower:
		return b.power.tables(), true
	case UnitContacts:
		return b.contactTables(), true
	}
	if k := b.controllerAt(unit); k != nil {
		return k.tables(), true
	}
	return tables{}, false
}

// store takes over what a request wrote, and reports whether the unit took it.
func (b *Bench) store(r modbus.Request, t tables) bool {
	switch r.Unit {
	case UnitPower:
		ofRegisters := r.Function == modbus.WriteRegister || r.Function == modbus.WriteRegisters
		ofHeaters := ofRegisters && int(r.Address) < len(b.pots) || !ofRegisters && r.Address+r.Quantity > heaterCoils
		return b.power.store(t, ofHeaters || b.config.Controllers, b.at)
	case UnitContacts:
		b.contacts.lamp, b.contacts.buzzer = t.coils[0], t.coils[1]
	}
	if k := b.controllerAt(r.Unit); k != nil {
		return k.store(t)
	}
	return true
}

// answer does what a whole frame asks and returns the reply, which is empty
// where a unit would keep silent.
func (b *Bench) answer(frame []byte) []byte {
	r, err := modbus.ParseRequest(frame)
	var refusal modbus.Exception
	if err != nil && !errors.As(err, &refusal) {
		return nil
	}
	t, here := b.unitTables(r.Unit)
	if !here || b.silent(r.Unit) {
		return nil
	}
	if b.faults.onLine(ExceptionReplies, r.Unit) {
		return r.AppendException(nil, modbus.Exception{Code: modbus.DeviceFailure})
	}
	if b.maker != nil {
		b.maker.hear(b.at)
	}
	if b.faults.onLine(TrafficFeeds, r.Unit) {
		b.power.written = b.at
	}
	if !t.knows(r.Function) {
		refusal.Code = modbus.IllegalFunction
	}
	if refusal.Code != 0 {
		return r.AppendException(nil, refusal)
	}
	return b.execute(r, t)
}

func (b *Bench) execute(r modbus.Request, t tables) []byte {
	if int(r.Address)+int(r.Quantity) > t.size(r.Function) {
		return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataAddress})
	}
	if !r.Writes() {
		return r.AppendReply(nil, t.read(r))
	}
	t.write(r)
	if !b.store(r, t) {
		return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataValue})
	}
	return r.AppendReply(nil, nil)
}

func (t tables) knows(function uint8) bool { return t.size(function) > 0 }

// size returns the length of the table that a function is about.
func (t tables) size(function uint8) int {
	switch function {
	case modbus.ReadCoils, modbus.WriteCoil, modbus.WriteCoils:
		return len(t.coils)
	case modbus.ReadInputs:
		return len(t.discretes)
	case modbus.ReadHolding, modbus.WriteRegister, modbus.WriteRegisters:
		return len(t.holding)
	case modbus.ReadInput:
		return len(t.input)
	}
	return 0
}

func (t tables) read(r modbus.Request) []byte {
	from, to := int(r.Address), int(r.Address)+int(r.Quantity)
	switch r.Function {
	case modbus.ReadCoils:
		return modbus.AppendBits(nil, t.coils[from:to]...)
	case modbus.ReadInputs:
		return modbus.AppendBits(nil, t.discretes[from:to]...)
	case modbus.ReadHolding:
		return modbus.AppendRegisters(nil, t.holding[from:to]...)
	default:
		return modbus.AppendRegisters(nil, t.input[from:to]...)
	}
}

func (t tables) write(r modbus.Request) {
	switch r.Function {
	case modbus.WriteCoil:
		t.coils[r.Address] = r.Data[0] != 0
	case modbus.WriteCoils:
		copy(t.coils[r.Address:], modbus.Bits(r.Data, int(r.Quantity)))
	default:
		copy(t.holding[r.Address:], modbus.Registers(r.Data))
	}
}
