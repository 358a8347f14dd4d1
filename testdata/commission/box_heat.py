"""The heat of the box of parts: three pots on their plates, and thermocouples that hands
move about. All figures are invented and drawn from a seed; the pots are small, so that
minutes are enough. What a thermocouple of one type shows on an input set to another is
taken from the table of testdata/thermocouples (NIST, see the README there), by straight
lines between its rows: less than 0.2 degrees Celsius off.
"""
import bisect
import csv
import pathlib

ROOM_C, HAND_C, TAP_C, BOILING_C = 21.0, 33.5, 56.0, 99.6
TERMINALS_C = 23.0  # where the wires end, in the module
CUT_OUT_C = 280.0
STEP_S = 0.05
# How fast a tip follows, in seconds, by where it is: well stirred, gripped, or in still air.
FOLLOWS_S = {"place": 1.0, "water": 1.2, "hand": 4.0, "air": 12.0}


class Pot:
    """An element, its plate, and a melt on it."""

    def __init__(self, r):
        self.volume_ml = r.choice([35, 40, 45, 50])
        self.heater_w = r.choice([180, 200, 220, 250])
        self.element_s = r.uniform(1.5, 4)
        self.plate_jk = r.uniform(90, 140)
        self.melt_jk = self.volume_ml * 2.08  # heat of a millilitre (estimate)
        self.across_wk = r.uniform(2, 4)
        self.plate_wk, self.melt_wk = r.uniform(0.05, 0.1), r.uniform(0.15, 0.3)
        self.power = 0.0
        self.plate = self.melt = ROOM_C

    def step(self, share):
        self.power += (self.heater_w * share - self.power) * STEP_S / self.element_s
        across = self.across_wk * (self.plate - self.melt)
        lost = self.plate_wk * (self.plate - ROOM_C)
        cooled = self.melt_wk * (self.melt - ROOM_C)
        self.plate += (self.power - across - lost) * STEP_S / self.plate_jk
        self.melt += (across - cooled) * STEP_S / self.melt_jk


class Probe:
    """A thermocouple: where its tip is, of which type it is, and how it is wired."""

    def __init__(self, r, place):
        self.place = place  # gives the temperature of where it belongs
        self.where, self.water = "place", 0.0
        self.tip = place()
        self.noise = r.uniform(0.03, 0.12)
        self.type = self.set_to = "K"
        self.swapped = self.off = False

    def around(self):
        return {"water": self.water, "hand": HAND_C, "air": ROOM_C}.get(
            self.where, self.place()
        )

    def step(self):
        self.tip += (self.around() - self.tip) * STEP_S / FOLLOWS_S[self.where]

    def shows(self):
        """Degrees Celsius, or None without wires."""
        if self.off:
            return None
        if self.type == self.set_to and not self.swapped:
            return self.tip
        voltage = volts(self.type, self.tip) - volts(self.type, TERMINALS_C)
        if self.swapped:
            voltage = -voltage
        return celsius(self.set_to, voltage + volts(self.set_to, TERMINALS_C))


def table():
    path = pathlib.Path(__file__).parents[1] / "thermocouples" / "table.csv"
    found = {}
    with open(path, encoding="utf-8") as rows:
        for row in csv.DictReader(rows):
            found.setdefault(row["type"], []).append(
                (float(row["t_C"]), float(row["emf_mV_NIST_table"]))
            )
    return {name: sorted(rows) for name, rows in found.items()}


TABLE = table()


def between(rows, x):
    at = min(max(bisect.bisect([a for a, _ in rows], x), 1), len(rows) - 1)
    (low, y), (high, z) = rows[at - 1], rows[at]
    return y + (z - y) * (x - low) / (high - low)


def volts(name, c):
    return between(TABLE[name], c)


def celsius(name, mv):
    return between([(v, c) for c, v in TABLE[name]], mv)
