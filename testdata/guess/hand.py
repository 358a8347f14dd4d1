"""A device whose map nobody knows, and a hand at its probes, as this project did not make
them: a Modbus RTU server on the library pymodbus, whose own payload builder lays out the
numbers. All figures are invented.

Usage: hand.py PORT SPEED, with how many times faster than real time all of it passes.
Unit 5, input registers 0 to 20: a counter, then at 3, 5, 7 and 9 a 32-bit float in degrees
Fahrenheit each, low word first, rounded to a tenth; the one at 7 has its two leads swapped;
at 15 a constant. There are no other registers. "hold N" on the standard input is a hand
that holds the probe at address N, and lets go of any other.
"""
import math
import random
import sys
import threading
import time

from pymodbus.constants import Endian
from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

PORT, SPEED = sys.argv[1], float(sys.argv[2])
ROOM_C, TERMINALS_C, HAND_C, TAU_S, NOISE_C = 20.0, 21.5, 33.0, 5.0, 0.05
PLACES = [3, 5, 7, 9]
lock = threading.Lock()
tips = {place: ROOM_C for place in PLACES}
held, began = [], time.monotonic()


class Inputs(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with lock:
            self.values[0] = int((time.monotonic() - began) * SPEED * 4) & 0xFFFF
            for place, tip in tips.items():
                shown = TERMINALS_C + (-1 if place == 7 else 1) * (tip - TERMINALS_C)
                f = (shown + random.gauss(0, NOISE_C)) * 9 / 5 + 32
                b = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=Endian.Little)
                b.add_32bit_float(round(f, 1))
                self.values[place : place + 2] = b.to_registers()
            return super().getValues(address, count)


def pass_time():
    while True:
        time.sleep(0.02)
        with lock:
            for place in tips:
                to = HAND_C if place in held else ROOM_C
                share = 1 - math.exp(-0.02 * SPEED / TAU_S)
                tips[place] += (to - tips[place]) * share


def hands():
    for line in sys.stdin:
        with lock:
            held[:] = [int(line.split()[1])]


for work in pass_time, hands:
    threading.Thread(target=work, daemon=True).start()
inputs = Inputs(0, [0] * 21)
inputs.values[15] = 250
far = ModbusSequentialDataBlock(0xFFFF, [0])
unit = ModbusSlaveContext(ir=inputs, hr=far, co=far, di=far, zero_mode=True)
StartSerialServer(
    context=ModbusServerContext(slaves={5: unit}, single=False),
    ignore_missing_slaves=True,
    framer=ModbusRtuFramer,
    port=PORT,
    baudrate=19200,
    timeout=0.005,
)
