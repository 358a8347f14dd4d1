"""A bench of two pots that this project did not make: a Modbus RTU server on the
library pymodbus with a thermal model and an output watchdog of its own.

Usage: foreign_bench.py PORT BAUD. Unit 17. Temperatures are holding registers 1000
to 1007: melt and plate of each pot, 32-bit floats in degrees Fahrenheit, low word
first. Heaters are holding registers 2000 and 2001 in tenths of a percent, the
contactor is coil 7; all are dropped 1.0 s after the last write of a heater. Discrete
input 30 is the emergency stop, 31 the enable button, 32 the cut-out. All figures are
invented: the pots are small (40 mL), so that minutes are enough. A pseudo-terminal
refuses parity, so none is set.

What a person does comes as lines on the standard input: "open" or "close" and the
number of an input, "off" and "on" for the supply of the unit, "dip", the register and
the degrees Celsius of a melt probe that is held in water, "dry" and its register,
"warm" and degrees Celsius for pots and plates that come warm. What is true comes as lines on the standard
output, with seconds of the system's monotonic clock: "heat on T" when any heater
begins to draw power; "heat off T WHY" when none does any more, because it was told,
by silence, or without supply; every second "melts T" with both melts in degrees
Celsius, without lag or noise of a probe.
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

ROOM_C, HEATER_W, WATCHDOG_S, STEP_S = 21.0, 200.0, 1.0, 0.02
PLATE_JK, MELT_JK, COUPLING_WK, PLATE_WK, MELT_WK = 100.0, 83.0, 3.0, 0.06, 0.25
ELEMENT_S, PROBE_S = 2.0, 1.0


def say(*words):
    print(*words, flush=True)


class Pot:
    """An element, its plate, a melt on it, and a probe in each of the latter."""

    def __init__(self, celsius=ROOM_C):
        self.power = 0.0
        self.plate = self.melt = self.plate_probe = self.melt_probe = celsius

    def step(self, power):
        self.power += (power - self.power) * STEP_S / ELEMENT_S
        across = COUPLING_WK * (self.plate - self.melt)
        lost, cooled = PLATE_WK * (self.plate - ROOM_C), MELT_WK * (self.melt - ROOM_C)
        self.plate += (self.power - across - lost) * STEP_S / PLATE_JK
        self.melt += (across - cooled) * STEP_S / MELT_JK
        self.plate_probe += (self.plate - self.plate_probe) * STEP_S / PROBE_S
        self.melt_probe += (self.melt - self.melt_probe) * STEP_S / PROBE_S


class Bench:
    """Two pots and their heaters, brought up to now before every access."""

    def __init__(self):
        self.lock = threading.RLock()
        self.pots = [Pot(), Pot()]
        self.tenths, self.contactor, self.heats = [0, 0], False, False
        self.now = self.written = time.monotonic()

    def catch_up(self):
        while self.now + STEP_S <= time.monotonic():
            self.now += STEP_S
            if self.now - self.written > WATCHDOG_S:
                self.set(self.now, "silence", [0, 0], False)
            for pot, tenths in zip(self.pots, self.tenths):
                pot.step(HEATER_W * tenths / 1000 if self.contactor else 0.0)

    def set(self, at, why, tenths, contactor):
        self.tenths, self.contactor = tenths, contactor
        heats = contactor and any(tenths)
        if heats != self.heats:
            self.heats = heats
            say(*(("heat on", at) if heats else ("heat off", at, why)))

    def told(self, tenths=None, contactor=None):
        now = time.monotonic()
        if tenths is not None:
            self.written = now
        self.set(
            now,
            "told",
            self.tenths if tenths is None else tenths,
            self.contactor if contactor is None else contactor,
        )

    def lose_supply(self):
        self.set(time.monotonic(), "supply", [0, 0], False)


bench = Bench()
held = {}  # what a person holds in water: degrees Celsius by register


class Holding(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with bench.lock:
            bench.catch_up()
            for at, pot in zip((1000, 1004), bench.pots):
                for place, celsius in ((0, pot.melt_probe), (2, pot.plate_probe)):
                    shown = held.get(at + place, celsius)
                    fahrenheit = shown * 9 / 5 + 32 + random.gauss(0, 0.1)
                    high, low = struct.unpack(">HH", struct.pack(">f", fahrenheit))
                    self.values[at + place : at + place + 2] = [low, high]
            self.values[2000:2002] = bench.tenths
            return super().getValues(address, count)

    def setValues(self, address, values):
        with bench.lock:
            bench.catch_up()
            tenths = list(bench.tenths)
            for at, value in enumerate(values, start=address):
                if at in (2000, 2001):
                    tenths[at - 2000] = min(value, 1000)
            bench.told(tenths=tenths)


class Coils(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with bench.lock:
            bench.catch_up()
            self.values[7] = bench.contactor
            return super().getValues(address, count)

    def setValues(self, address, values):
        with bench.lock:
            bench.catch_up()
            for at, value in enumerate(values, start=address):
                if at == 7:
                    bench.told(contactor=bool(value))


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
        with bench.lock:
            bench.catch_up()
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
                case ["warm", celsius]:
                    bench.pots = [Pot(float(celsius)), Pot(float(celsius))]


def truth():
    told = 0.0
    while True:
        time.sleep(STEP_S)
        with bench.lock:
            bench.catch_up()
            if bench.now - told >= 1:
                told = bench.now
                say("melts", told, *(pot.melt for pot in bench.pots))


for work in hands, truth:
    threading.Thread(target=work, daemon=True).start()
StartSerialServer(
    context=server,
    ignore_missing_slaves=True,
    framer=ModbusRtuFramer,
    port=sys.argv[1],
    baudrate=int(sys.argv[2]),
    timeout=0.005,
)
