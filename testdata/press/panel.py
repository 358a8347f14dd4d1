"""A panel of contacts whose map nobody knows, and a hand at it, as this project did not make
it: a Modbus RTU server on the library pymodbus. All of it is invented.

Usage: panel.py PORT. Unit 9. Discrete inputs 0 to 11: the emergency stop at 6, normally
closed; at 4 a bit that changes by itself. Holding registers 0 to 3: the pedal is bit 9 of
register 1; register 2 is a noisy number. There are no coils and no input registers.
"press NAME" on the standard input is a hand that presses e-stop or pedal three times: each
for six readings from address 0 on, with six between, so that a busy computer makes it
slower and nothing else.
"""
import random
import sys
import threading

from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

PRESSED = [0] * 6 + ([1] * 6 + [0] * 6) * 3
lock = threading.Lock()
hands = {name: [] for name in ("e-stop", "pedal")}


def pressed(name):
    """What a hand does to a contact at this reading."""
    return hands[name].pop(0) if hands[name] else 0


class Inputs(ModbusSequentialDataBlock):
    reads = 0

    def getValues(self, address, count=1):
        with lock:
            if address == 0:
                self.reads += 1
                self.values[6] = not pressed("e-stop")
                self.values[4] = self.reads % 8 < 4
            return super().getValues(address, count)


class Words(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        with lock:
            if address == 0:
                self.values[1] = 0x1200 if pressed("pedal") else 0x1000
                self.values[2] = 1234 + random.randrange(-3, 4)
            return super().getValues(address, count)


def orders():
    for line in sys.stdin:
        with lock:
            hands[line.split()[1]].extend(PRESSED)


threading.Thread(target=orders, daemon=True).start()
inputs, words = Inputs(0, [False] * 12), Words(0, [0x0041, 0x1000, 1234, 7])
far = ModbusSequentialDataBlock(0xFFFF, [0])
unit = ModbusSlaveContext(ir=far, hr=words, co=far, di=inputs, zero_mode=True)
StartSerialServer(
    context=ModbusServerContext(slaves={9: unit}, single=False),
    ignore_missing_slaves=True,
    framer=ModbusRtuFramer,
    port=sys.argv[1],
    baudrate=19200,
    timeout=0.005,
)
