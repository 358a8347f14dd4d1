"""The hardware of the example bench files, as this project did not make it: a Modbus
RTU server on the library pymodbus, written from config/examples/board.md for the board
and from the comments of relays.yaml and controllers.yaml for the modules. All figures are
invented.

Usage: bench.py PORT MAP, with board, relays or controllers for the map. Nothing warms here. Inputs 1
to 8 are at 20, 25, 30, 40, 20, 25, 30 and 40 degrees Celsius. Their type K voltages are
those of the table of IEC 60584-1 (20: 0.798 mV, 25: 1.000, 30: 1.203, 40: 1.612), less
those of the cold junction at 25 degrees. A pseudo-terminal refuses parity, so none is set.

What happens comes as lines on the standard input: "open", "short", "fault" or "well" and
the number of an input of the board. What is true comes on the standard output, with
seconds of the system's monotonic clock: "heat on T" when the contactor is closed and any
heater is told more than zero, or any controller more than it reads; "heat off T WHY" when
that ends, because it was told or by silence; "set UNIT CELSIUS" whenever a controller's
set-point is written, which it keeps whatever happens.
"""
import sys
import threading
import time

from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.pdu import ModbusExceptions
from pymodbus.register_write_message import (
    WriteMultipleRegistersRequest,
    WriteSingleRegisterRequest,
)
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

PORT, MAP = sys.argv[1:]
NONE, FULL, HEATERS = 0x7FFF, 10000, 3
SILENCE_S = {"board": 1.0, "relays": 1.5, "controllers": 1.5}[MAP]
CONTROLLERS, REST, OWN = (3, 4, 5), 50, 250  # units; tenths of a degree
CELSIUS = [20, 25, 30, 40, 20, 25, 30, 40]
MICROVOLTS = {20: 798, 25: 1000, 30: 1203, 40: 1612}
COLD_JUNCTION = 25
BITS = {"well": 0, "open": 1, "short": 2, "fault": 4}
lock = threading.RLock()


class Outputs:
    """Duties and coils, dropped together in silence."""

    def __init__(self):
        self.duty, self.coils, self.heats = [0] * HEATERS, [False] * 6, False
        self.fed = float("-inf")
        self.setpoints = {unit: REST for unit in CONTROLLERS}

    def heaters(self):
        if MAP == "controllers":
            return [told > OWN for told in self.setpoints.values()]
        return self.duty if MAP == "board" else self.coils[:HEATERS]

    def contactor(self):
        return self.coils[0 if MAP == "board" else HEATERS]

    def say(self, at, why):
        heats = self.contactor() and any(self.heaters())
        if heats != self.heats:
            self.heats = heats
            print(*(("heat on", at) if heats else ("heat off", at, why)), flush=True)

    def catch_up(self):
        due = self.fed + SILENCE_S
        if time.monotonic() > due:
            self.duty = [0] * HEATERS
            if MAP == "board":
                self.coils[0] = False
            else:
                self.coils = [False] * 6
            self.say(due, "silence")


outputs = Outputs()


class Duties(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with lock:
            outputs.catch_up()
            return outputs.duty[address : address + count]

    def setValues(self, address, values):
        with lock:
            outputs.catch_up()
            outputs.duty[address : address + len(values)] = values
            outputs.fed = time.monotonic()
            outputs.say(outputs.fed, "told")


class Coils(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with lock:
            outputs.catch_up()
            return outputs.coils[address : address + count]

    def setValues(self, address, values):
        with lock:
            outputs.catch_up()
            outputs.coils[address : address + len(values)] = map(bool, values)
            now = time.monotonic()
            if MAP == "controllers" or MAP == "relays" and address < HEATERS:
                outputs.fed = now
            outputs.say(now, "told")


class Controller(ModbusSequentialDataBlock):
    """A set-point, and what the controller's own sensor reads."""

    def __init__(self, unit):
        super().__init__(0, [REST, OWN])
        self.unit = unit

    def setValues(self, address, values):
        with lock:
            outputs.catch_up()
            if address == 0:
                self.values[0] = outputs.setpoints[self.unit] = values[0]
                print("set", self.unit, values[0] / 10, flush=True)
                outputs.say(time.monotonic(), "told")


class OneDuty(WriteSingleRegisterRequest):
    def execute(self, context):
        if self.value > FULL:
            return self.doException(ModbusExceptions.IllegalValue)
        return super().execute(context)


class Some(WriteMultipleRegistersRequest):
    def execute(self, context):
        if any(value > FULL for value in self.values):
            return self.doException(ModbusExceptions.IllegalValue)
        return super().execute(context)


def measured():
    degrees = [10 * c for c in CELSIUS]
    volts = [(MICROVOLTS[c] - MICROVOLTS[COLD_JUNCTION]) & 0xFFFF for c in CELSIUS]
    if MAP != "board":
        return degrees
    return degrees + [0] * 8 + volts + [10 * COLD_JUNCTION]


inputs = ModbusSequentialDataBlock(0, measured())
contacts = ModbusSequentialDataBlock(0, [True, True, True, False, False])
coils = Coils(0, [False] * (3 if MAP == "board" else 6))
nothing = ModbusSequentialDataBlock(0xFFFF, [0])
if MAP == "board":
    units = {
        1: ModbusSlaveContext(
            ir=inputs,
            hr=Duties(0, [0] * HEATERS),
            co=coils,
            di=contacts,
            zero_mode=True,
        )
    }
else:
    units = {
        1: ModbusSlaveContext(
            ir=inputs, hr=nothing, co=nothing, di=nothing, zero_mode=True
        ),
        2: ModbusSlaveContext(
            ir=nothing, hr=nothing, co=coils, di=contacts, zero_mode=True
        ),
    }
if MAP == "controllers":
    for number in CONTROLLERS:
        units[number] = ModbusSlaveContext(
            ir=nothing, hr=Controller(number), co=nothing, di=nothing, zero_mode=True
        )


def happenings():
    for line in sys.stdin:
        what, number = line.split()
        at = int(number) - 1
        with lock:
            well = measured()
            inputs.values[8 + at] = BITS[what]
            for place in (at, 16 + at):
                inputs.values[place] = well[place] if what == "well" else NONE


def clock():
    while True:
        time.sleep(0.01)
        with lock:
            outputs.catch_up()


for work in happenings, clock:
    threading.Thread(target=work, daemon=True).start()
StartSerialServer(
    context=ModbusServerContext(slaves=units, single=False),
    custom_functions=[OneDuty, Some],
    ignore_missing_slaves=True,
    framer=ModbusRtuFramer,
    port=PORT,
    baudrate=19200,
    timeout=0.005,
)
