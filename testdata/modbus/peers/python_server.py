"""A Modbus RTU server on the library pymodbus, as an independent peer for tests.

Usage: python_server.py PORT BAUD. Unit 17; holding register n holds n, input
register n holds 1000 + n, every third coil and every second input is on;
addresses 0 to 199 exist. A pseudo-terminal refuses parity, so none is set.
"""
import sys

from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

unit = ModbusSlaveContext(
    co=ModbusSequentialDataBlock(0, [n % 3 == 0 for n in range(200)]),
    di=ModbusSequentialDataBlock(0, [n % 2 == 0 for n in range(200)]),
    hr=ModbusSequentialDataBlock(0, list(range(200))),
    ir=ModbusSequentialDataBlock(0, [1000 + n for n in range(200)]),
    zero_mode=True,
)
StartSerialServer(
    context=ModbusServerContext(slaves={17: unit}, single=False),
    framer=ModbusRtuFramer,
    port=sys.argv[1],
    baudrate=int(sys.argv[2]),
    timeout=0.005,
)
