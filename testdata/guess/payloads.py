"""Writes payloads.csv: numbers as the library pymodbus lays them out in registers, by its
own payload builder, in every order of words and bytes."""
from pymodbus.constants import Endian
from pymodbus.payload import BinaryPayloadBuilder

ORDERS = {"high-first": Endian.Big, "low-first": Endian.Little}
NUMBERS = {
    "int16": [215, -215, 2150, 32767, -32768],
    "uint16": [215, 52700, 65535],
    "int32": [215, -215, 70000, -70000, 2147483647],
    "uint32": [215, 70000, 4294967295],
    "float32": [21.5, -21.5, 70.7, 172.3, 1370.0],
}
print("type,words,bytes,value,registers")
for kind, values in NUMBERS.items():
    for words, wordorder in ORDERS.items():
        for octets, byteorder in ORDERS.items():
            for value in values:
                b = BinaryPayloadBuilder(wordorder=wordorder, byteorder=byteorder)
                add = {
                    "int16": b.add_16bit_int,
                    "uint16": b.add_16bit_uint,
                    "int32": b.add_32bit_int,
                    "uint32": b.add_32bit_uint,
                    "float32": b.add_32bit_float,
                }[kind]
                add(value)
                raw = b"".join(b.build())
                regs = [raw[i : i + 2].hex().upper() for i in range(0, len(raw), 2)]
                print(kind, words, octets, value, " ".join(regs), sep=",")
