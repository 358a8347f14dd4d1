"""A bench of two pots that this project did not make: a Modbus RTU server on the
library pymodbus with a thermal model and an output watchdog of its own.

Usage: foreign_bench.py PORT BAUD. Unit 17. Temperatures are holding registers 1000
to 1007: melt and plate of each pot, 32-bit floats in degrees Fahrenheit, low word
first. Heaters are holding registers 2000 and 2001 in tenths of a percent, the
contactor is coil 7; all are dropped 1.0 s after the last write of a heater. Discrete
input 30 is the emergency stop, 31 the enable button, 32 the cut-out. What a person
does comes as lines on the standard input: "open" or "close" and the number of an
input, "off" and "on" for the supply of the unit, "dip", the register and the degrees
Celsius of a melt probe that is held in water, and "dry" and its register. All figures
are invented. A pseudo-terminal refuses parity, so none is set.
"""
import random
import struct
import sys
import threading
import time

from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

ROOM_C, HEATER_W, WATCHDOG_S, STEP_S = 21.0, 600.0, 1.0, 0.02
PLATE_JK, MELT_JK, COUPLING_WK, LOSS_WK = 300.0, 350.0, 1.0, 0.3


class Bench:
    """Two plates with a pot on each, brought up to now before every access."""

    def __init__(self):
        self.plates, self.melts, self.tenths = [ROOM_C] * 2, [ROOM_C] * 2, [0, 0]
        self.contactor = False
        self.now = self.written = time.monotonic()

    def catch_up(self):
        while self.now + STEP_S <= time.monotonic():
            self.now += STEP_S
            if self.now - self.written > WATCHDOG_S:
                self.tenths, self.contactor = [0, 0], False
            for pot in range(2):
                self.step(pot)

    def step(self, pot):
        power = HEATER_W * self.tenths[pot] / 1000 if self.contactor else 0.0
        across = COUPLING_WK * (self.plates[pot] - self.melts[pot])
        lost = LOSS_WK * (self.plates[pot] - ROOM_C)
        self.plates[pot] += (power - across - lost) * STEP_S / PLATE_JK
        self.melts[pot] += across * STEP_S / MELT_JK

    def lose_supply(self):
        self.tenths, self.contactor = [0, 0], False


bench = Bench()
held = {}  # what a person holds in water: degrees Celsius by register


class Holding(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        bench.catch_up()
        for pot in range(2):
            for place, celsius in enumerate((bench.melts[pot], bench.plates[pot])):
                at = 1000 + 4 * pot + 2 * place
                fahrenheit = held.get(at, celsius) * 9 / 5 + 32 + random.gauss(0, 0.1)
                high, low = struct.unpack(">HH", struct.pack(">f", fahrenheit))
                self.values[at : at + 2] = [low, high]
        self.values[2000:2002] = bench.tenths
        return super().getValues(address, count)

    def setValues(self, address, values):
        bench.catch_up()
        for at, value in enumerate(values, start=address):
            if at in (2000, 2001):
                bench.tenths[at - 2000], bench.written = min(value, 1000), time.monotonic()


class Coils(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        bench.catch_up()
        self.values[7] = bench.contactor
        return super().getValues(address, count)

    def setValues(self, address, values):
        bench.catch_up()
        for at, value in enumerate(values, start=address):
            if at == 7:
                bench.contactor = bool(value)


inputs = ModbusSequentialDataBlock(0, [False] * 64)
inputs.values[30] = inputs.values[32] = True
unit = ModbusSlaveContext(
    co=Coils(0, [False] * 16),
    di=inputs,
    hr=Holding(0, [0] * 2002),
    ir=ModbusSequentialDataBlock(0, [0]),
    zero_mode=True,
)
server = ModbusServerContext(slaves={17: unit}, single=False)


def hands():
    for line in sys.stdin:
        match line.split():
            case ["open" | "close" as verb, number]:
                inputs.values[int(number)] = verb == "close"
            case ["off"]:
                bench.lose_supply()
                del server[17]
            case ["on"]:
                server[17] = unit
            case ["dip", register, celsius]:
                held[int(register)] = float(celsius)
            case ["dry", register]:
                held.pop(int(register), None)


threading.Thread(target=hands, daemon=True).start()
StartSerialServer(
    context=server,
    ignore_missing_slaves=True,
    framer=ModbusRtuFramer,
    port=sys.argv[1],
    baudrate=int(sys.argv[2]),
    timeout=0.005,
)
