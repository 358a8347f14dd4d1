"""The three modules of the box of parts, as a seed draws them: where each value lives, how
it is laid out, and what the sheets say of that. All of it is invented. The registers are
served by the library pymodbus; what is written or read goes to the bench at once.
"""
import random
import struct

from pymodbus.datastore import ModbusSlaveContext

POTS = ["left", "middle", "right"]
PROBES = [f"{role} {pot}" for pot in POTS for role in ("melt", "plate")] + ["room"]
CONTACTS = ["e-stop", "cut-out", "fan", "enable", "pedal"]
NOBODY = None  # on a terminal

# How a thermocouple module may lay out its temperatures, with what it sends for no probe.
LAYOUTS = [
    {"type": "int16", "scale": 0.1, "none": [0x7FFF, -0x8000]},
    {"type": "int16", "scale": 0.1, "none": [0x7FFF, -0x8000]},
    {"type": "uint16", "scale": 0.01, "none": [0xFFFF]},
    {"type": "int32", "scale": 0.01, "none": [0x7FFFFFFF, -0x80000000]},
    {"type": "float32", "scale": 1, "none": [-9999.0, 9999.0], "digits": 1},
    {"type": "float32", "scale": 1, "none": [-9999.0, 9999.0], "digits": 2},
]
PACK = {"int16": ">h", "uint16": ">H", "int32": ">i", "float32": ">f"}


class Block:
    """Values that live elsewhere: read and written by functions of their address."""

    def __init__(self, places, read, write=None, lenient=False):
        self.places, self.read, self.write = set(places), read, write
        self.lenient = lenient  # reads zero where there is nothing, as some modules do

    def validate(self, address, count=1):
        wanted = set(range(address, address + count))
        return wanted <= self.places or (self.lenient and address + count <= 64)

    def getValues(self, address, count=1):
        return [
            self.read(a) if a in self.places else 0
            for a in range(address, address + count)
        ]

    def setValues(self, address, values):
        for at, value in enumerate(values, start=address):
            if self.write and at in self.places:
                self.write(at, value)


def nothing():
    return Block([], lambda _: 0)


def unit(**blocks):
    kinds = {k: blocks.get(k) or nothing() for k in ("co", "di", "hr", "ir")}
    return ModbusSlaveContext(zero_mode=True, **kinds)


class Thermocouples:
    """Eight inputs, of which one has no probe."""

    name = "thermocouples"

    def __init__(self, r):
        layout = r.choice(LAYOUTS)
        self.type, self.scale = layout["type"], layout["scale"]
        self.none, self.digits = r.choice(layout["none"]), layout.get("digits", 0)
        self.fahrenheit = r.random() < 0.35
        self.function = r.choice([3, 4])
        self.start, self.each = r.choice([0, 0, 1, 2, 8, 16]), self.words()
        if r.random() < 0.2:
            self.each += 1  # a state behind each
        self.low_first = self.words() == 2 and r.random() < 0.5
        self.inputs = r.sample(PROBES + [NOBODY], 8)
        self.lenient = r.random() < 0.5
        self.noise = random.Random(r.random())

    def words(self):
        return 2 if self.type in ("int32", "float32") else 1

    def at(self, probe):
        return self.start + self.each * self.inputs.index(probe)

    def number(self, celsius):
        if celsius is None:
            return self.none
        shown = celsius * 9 / 5 + 32 if self.fahrenheit else celsius
        if self.type == "float32":
            return round(shown, self.digits)
        return round(shown / self.scale)

    def registers(self, celsius):
        packed = struct.pack(PACK[self.type], self.number(celsius))
        words = list(struct.unpack(f">{len(packed) // 2}H", packed))
        return words[::-1] if self.low_first else words

    def measure(self, probes, channel):
        probe = probes.get(self.inputs[channel])
        shown = probe and probe.shows()
        return None if shown is None else shown + self.noise.gauss(0, probe.noise)

    def serve(self, probes):
        """probes: by name; each is measured anew for every request."""

        def read(address):
            channel, word = divmod(address - self.start, self.each)
            if word >= self.words():
                return 1 if self.inputs[channel] is NOBODY else 0  # its state
            if word == 0 or channel not in measured:
                measured[channel] = self.registers(self.measure(probes, channel))
            return measured[channel][word]

        measured = {}
        block = Block(
            range(self.start, self.start + 8 * self.each), read, lenient=self.lenient
        )
        return unit(**{"ir" if self.function == 4 else "hr": block})

    def reveal(self):
        return {
            "function": self.function,
            "type": self.type,
            "words": "low-first" if self.low_first else "high-first",
            "scale": self.scale,
            "degrees": "F" if self.fahrenheit else "C",
            "sentinel": self.none,
            "addresses": {p: self.at(p) for p in PROBES},
        }

    def sheet(self):
        return """THERMOCOUPLE MODULE, eight inputs
  Its sheet is lost. It measures type K unless it was set otherwise. What it sends for
  an input without a probe, its addresses and its numbers nobody has written down."""


class Outputs:
    """Heaters, contactor, lamp and buzzer. All of it is dropped in silence."""

    name = "outputs"
    TERMINALS = ["heater left", "heater middle", "heater right"] + [
        "contactor",
        "lamp",
        "buzzer",
    ]

    def __init__(self, r):
        self.relays = r.random() < 0.4
        self.coil = r.choice([0, 0, 8, 16, 32])
        self.register = r.choice([0, 10, 64, 100])
        self.full = 1 if self.relays else r.choice([100, 1000, 10000])
        self.timeout_at = self.register + r.choice([16, 20, 50])
        self.counts_s = r.choice([0.1, 0.001])  # of a count of the time-out
        self.timeout_s = r.choice([0, 1.0, 1.5, 10.0])
        self.numbering = r.choice(list(NUMBERINGS))
        plates = POTS[:]
        if r.random() < 0.35:
            plates = r.sample(plates, 3)
        self.warms = dict(zip(POTS, plates))  # the plate that a terminal's heater warms

    def coils(self):
        return self.TERMINALS if self.relays else self.TERMINALS[3:]

    def at(self, terminal):
        if terminal in self.coils():
            return self.coil + self.coils().index(terminal)
        return self.register + self.TERMINALS.index(terminal)

    def serve(self, state):
        """state keeps what each terminal is told, and is told of every write."""
        co = {self.at(t): t for t in self.coils()}
        hr = {self.at(t): t for t in self.TERMINALS if t not in self.coils()}

        def read(at):
            if at == self.timeout_at:
                return round(self.timeout_s / self.counts_s)
            return state.told(hr[at])

        def write(at, value):
            if at == self.timeout_at:
                self.timeout_s = value * self.counts_s
            else:
                state.tell(hr[at], min(value, self.full))

        return unit(
            co=Block(
                co,
                lambda at: bool(state.told(co[at])),
                lambda at, value: state.tell(co[at], int(bool(value))),
            ),
            hr=Block([*hr, self.timeout_at], read, write),
        )

    def reveal(self):
        return {
            "relays": self.relays,
            "full": self.full,
            "addresses": {
                **{f"heater {p}": self.at("heater " + t) for t, p in self.warms.items()},
                **{t: self.at(t) for t in self.TERMINALS[3:]},
            },
            "timeout": self.timeout_at,
        }

    def sheet(self):
        says, count = NUMBERINGS[self.numbering]
        rows = [f"  {says}"]
        for i, t in enumerate(self.TERMINALS, start=1):
            table, kind = (0, "coil") if t in self.coils() else (4, "holding register")
            rows.append(f"  OUT {i}   {kind:17} {count(table, self.at(t))}")
        told = (
            "1 is on, 0 is off."
            if self.relays
            else f"OUT 1 to 3: 0 to {self.full} for 0 to 100 %, spread evenly over the waves of the mains."
        )
        unit_of = "tenths of a second" if self.counts_s == 0.1 else "milliseconds"
        return "\n".join(
            [
                f"{'RELAY' if self.relays else 'POWER'} MODULE, six outputs",
                *rows,
                f"  {told} All can be read back.",
                f"  Communication time-out: holding register {count(4, self.timeout_at)}, in {unit_of}, 0 for none.",
                "  With that time gone since the last write to any output, all outputs go off and read 0.",
                "  Stored when it is set. As it comes: "
                + (f"{self.timeout_s:g} s." if self.timeout_s else "none."),
                "  All outputs are off when its supply comes.",
            ]
        )


class Inputs:
    """Contacts: closed while all is well, or pressed."""

    name = "inputs"

    def __init__(self, r):
        self.start = r.choice([0, 0, 16, 32])
        self.terminals = r.sample(CONTACTS + [NOBODY] * 3, 8)
        self.numbering = r.choice(list(NUMBERINGS))

    def at(self, contact):
        return self.start + self.terminals.index(contact)

    def serve(self, closed):
        return unit(
            di=Block(
                range(self.start, self.start + 8),
                lambda at: closed.get(self.terminals[at - self.start], False),
            )
        )

    def reveal(self):
        return {"addresses": {c: self.at(c) for c in CONTACTS}}

    def sheet(self):
        says, count = NUMBERINGS[self.numbering]
        return "\n".join(
            [
                "INPUT MODULE, eight contacts",
                f"  {says}",
                f"  IN 1 to IN 8   discrete inputs {count(1, self.start)} to {count(1, self.start + 7)}",
                "  1 is closed, 0 is open.",
            ]
        )


# How sheets count. Only one of them counts as the wire does.
NUMBERINGS = {
    "five digits": (
        "Numbers have five digits; the first is the table.",
        lambda table, at: f"{table}{at + 1:04d}",
    ),
    "from one": ("Addresses, decimal.", lambda _, at: str(at + 1)),
    "on the wire": (
        "Addresses as sent, hexadecimal.",
        lambda _, at: f"0x{at:04X}",
    ),
}
