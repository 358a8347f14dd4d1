"""A box of parts that this project did not make: three modules on serial lines, three
small pots on heated plates, and hands. A Modbus RTU server on the library pymodbus, with
a map, speeds, unit numbers and wiring that nobody knows, drawn from a seed. All figures,
names and sheets are invented.

    box_of_parts.py --seed 7 --manual                    what sheets and labels say
    box_of_parts.py --seed 7 --port /tmp/usb0            all on one line, served there
    box_of_parts.py --seed 7 --port /tmp/usb0 --port /tmp/usb1     on two lines
    box_of_parts.py --seed 7 --reveal                    the solution, as JSON

Each PORT becomes a link to a pseudo-terminal that answers only at the line's own speed and
parity (a pseudo-terminal keeps no parity bit: whether parity is checked, and odd or even,
is taken from what a program asks of the port). Bytes take as long as on a wire.

In one terminal start the box, in another the program; type what hands do into the first,
or start it with --hands FIFO and write lines into that from anywhere (echo "dip melt left"
> FIFO). Probes are "melt left", "plate left", the same of middle and right, and "room".

    hold PROBE               in a warm hand, and any other is let go
    let go                   every probe that was held
    dip PROBE [CELSIUS]      the tip in a cup: tap water of 56 C where nothing is said
    boil PROBE               the tip in boiling water: 99.6 C, at 985 hPa, or 240 m up
    probe out PROBE          it hangs in the air, and dries
    put back [PROBE]         it, or all, dry, to where they belong
    take off PROBE           its two wires off the module; "put on PROBE" again
    press enable, release    the same with pedal; "tap enable" presses it for a second
    open e-stop, close e-stop      the same with cut-out (a plate of 280 C opens it too, and
                             it stays open until it is closed) and fan
    supply off, supply on    of the output module; "supply off inputs", or thermocouples, or all
    mains off, mains on      of the heaters, at their plug
    unplug, plug in          the adapter of the first line; "unplug 2" that of the second
    set time-out SECONDS     of the output module, as its maker's own tool would; 0 for none
    swap leads PROBE         it is reversed, or right again
    set type PROBE J         the input, to another thermocouple type

On the standard output comes a line of JSON a second with what is true: seconds, melts,
plates and room in degrees Celsius, what each heater draws in watts, contactor, lamp and
buzzer, what is closed, where each probe is. Then nothing is left to guess.

--speed 20 has all of it pass twenty times faster, silence and bytes too: for a program
whose clock runs as fast. With --told as well, it is as late as lines "now SECONDS" among
those of the hands say: for a fast clock that slows down on a busy computer.
--faults draws a probe with swapped leads and one of type J. --no-labels leaves out what is
pencilled at the terminals of the input module.
Nothing here warms by itself: the heat is made by what is told over the line.
"""
import argparse
import json
import logging
import os
import random
import re
import select
import sys
import termios
import threading
import time
import tty

from pymodbus.factory import ServerDecoder
from pymodbus.framer.rtu_framer import ModbusRtuFramer

from box_heat import BOILING_C, CUT_OUT_C, ROOM_C, STEP_S, TAP_C, Pot, Probe
from box_modules import CONTACTS, POTS, PROBES, Inputs, Outputs, Thermocouples

SPEEDS = {
    4800: termios.B4800,
    9600: termios.B9600,
    19200: termios.B19200,
    38400: termios.B38400,
    57600: termios.B57600,
    115200: termios.B115200,
}


class Box:
    """All that is in it, and how it hangs together."""

    def __init__(self, seed, lines, faults=False):
        r = random.Random(seed)
        self.modules = [Thermocouples(r), Outputs(r), Inputs(r)]
        self.thermocouples, self.outputs, self.inputs = self.modules
        self.units = r.sample(range(1, 33), 3)
        apart = r.choice([(0, 1, 1), (0, 1, 0)])
        self.line_of = apart if lines > 1 else (0, 0, 0)
        drawn = [r.choice([9600, 19200, 38400, 115200]) for _ in range(2)]
        slowest = 9600 if lines > 1 else 38400  # all on one slow line is too slow
        self.lines = [
            (max(baud, slowest), r.choice(["none", "even", "odd"])) for baud in drawn
        ][:lines]
        self.replies_s = [r.uniform(0.002, 0.006) for _ in self.modules]
        self.pots = {name: Pot(r) for name in POTS}
        self.probes = {name: Probe(r, self.place(name)) for name in PROBES}
        if faults:
            reversed_, other = r.sample(PROBES[:-1], 2)
            self.probes[reversed_].swapped = True
            self.probes[other].type = "J"

    def place(self, probe):
        role, _, pot = probe.partition(" ")
        if not pot:
            return lambda: ROOM_C
        return lambda: getattr(self.pots[pot], role)

    def reveal(self):
        return {
            "lines": [{"baud": b, "parity": p} for b, p in self.lines],
            "devices": {
                m.name: {"line": self.line_of[i], "unit": self.units[i], **m.reveal()}
                for i, m in enumerate(self.modules)
            },
            "heater_w": {n: p.heater_w for n, p in self.pots.items()},
            "swapped": [n for n, p in self.probes.items() if p.swapped],
            "type_j": [n for n, p in self.probes.items() if p.type == "J"],
        }

    def manual(self, labels):
        pots = "".join(
            f"\n  {n}: {p.heater_w} W, most fill {p.volume_ml + 10} mL, filled with {p.volume_ml} mL"
            for n, p in self.pots.items()
        )
        text = f"""WHAT IS IN THE BOX (invented)
Three modules for a serial line, with as many adapters as you gave ports. Whoever had them
before set speed, parity and unit numbers, and wrote none of it down.

Three plates with one heater each, at 120 V, spread over one breaker of 15 A:{pots}
Seven thermocouples: a melt and a plate probe for each pot, and one for the room. They are
screwed to the thermocouple module, in no order that anybody remembers.
Cut-out: a limiter with its own sensor on each plate, 280 C, reset by hand, in series with
the emergency stop in the contactor's coil. Water boils here at 985 hPa, 240 m up.

{self.thermocouples.sheet()}

{self.outputs.sheet()}

{self.inputs.sheet()}

PENCILLED AT THE TERMINALS
"""
        text += ", ".join(
            f"OUT {i} {t}" for i, t in enumerate(Outputs.TERMINALS, start=1)
        )
        if labels:
            text += "\n" + ", ".join(
                f"IN {i} {t}" for i, t in enumerate(self.inputs.terminals, start=1) if t
            )
        return text


class Bench:
    """The box in time: brought up to now before every access."""

    def __init__(self, box, speed, told=False):
        self.box, self.speed = box, speed
        self.told_s = 0.0 if told else None
        self.lock = threading.RLock()
        self.values = dict.fromkeys(Outputs.TERMINALS, 0)
        self.closed = {c: c in ("e-stop", "cut-out", "fan") for c in CONTACTS}
        self.mains = True
        self.powered = {m.name: True for m in box.modules}
        self.began, self.at, self.fed = time.monotonic(), 0.0, 0.0

    def now(self):
        if self.told_s is not None:
            return self.told_s
        return (time.monotonic() - self.began) * self.speed

    def catch_up(self):
        now = self.now()
        while self.at + STEP_S <= now:
            self.at += STEP_S
            self.expire(self.at)
            self.step()
        self.expire(now)

    def expire(self, now):
        silence = self.box.outputs.timeout_s
        if silence and now - self.fed > silence:
            self.drop()

    def drop(self):
        self.values = dict.fromkeys(Outputs.TERMINALS, 0)

    def live(self):
        chain = self.closed["e-stop"] and self.closed["cut-out"]
        return bool(self.values["contactor"]) and chain and self.mains

    def share(self, terminal):
        told = self.values["heater " + terminal] / self.box.outputs.full
        return told if self.live() else 0.0

    def step(self):
        for terminal, pot in self.box.outputs.warms.items():
            self.box.pots[pot].step(self.share(terminal))
        for probe in self.box.probes.values():
            probe.step()
        if any(p.plate >= CUT_OUT_C for p in self.box.pots.values()):
            self.closed["cut-out"] = False

    def told(self, terminal):
        return self.values[terminal]

    def tell(self, terminal, value):
        self.fed = self.now()
        self.values[terminal] = value

    def switch(self, module, on):
        self.powered[module] = on
        if module == "outputs":
            self.drop()

    def truth(self):
        watts = {
            pot: round(self.share(terminal) * self.box.pots[pot].heater_w, 1)
            for terminal, pot in self.box.outputs.warms.items()
        }
        return {
            "s": round(self.at, 1),
            "melts": {n: round(p.melt, 2) for n, p in self.box.pots.items()},
            "plates": {n: round(p.plate, 2) for n, p in self.box.pots.items()},
            "room": ROOM_C,
            "heaters_w": watts,
            "contactor": self.live(),
            "lamp": bool(self.values["lamp"]),
            "buzzer": bool(self.values["buzzer"]),
            "closed": [c for c in CONTACTS if self.closed[c]],
            "without_supply": [n for n, on in self.powered.items() if not on],
            "probes": {
                n: "off" if p.off else p.where
                for n, p in self.box.probes.items()
                if p.off or p.where != "place"
            },
        }


class Line:
    """A pseudo-terminal with modules on it."""

    def __init__(self, bench, number, path):
        self.bench, self.path = bench, path
        self.baud, self.parity = bench.box.lines[number]
        box = bench.box
        serves = (box.probes, bench, bench.closed)
        self.units = {
            box.units[i]: (m.name, m.serve(serves[i]), box.replies_s[i])
            for i, m in enumerate(box.modules)
            if box.line_of[i] == number
        }
        self.framer = ModbusRtuFramer(ServerDecoder())
        self.ours = self.theirs = None
        self.plug_in()

    def plug_in(self):
        if self.ours is None:
            ours, self.theirs = os.openpty()
            tty.setraw(self.theirs)
            self.unlink()
            os.symlink(os.ttyname(self.theirs), self.path)
            self.ours = ours

    def unplug(self):
        if self.ours is not None:
            ours, self.ours = self.ours, None
            os.close(ours)
            os.close(self.theirs)
            self.unlink()

    def unlink(self):
        if os.path.islink(self.path):
            os.unlink(self.path)

    def understands(self):
        """Whether the other end speaks as this line does."""
        flags, _, control, _, speed, *_ = termios.tcgetattr(self.ours)
        odd = "odd" if control & termios.PARODD else "even"
        parity = odd if flags & termios.INPCK else "none"
        return speed == SPEEDS[self.baud] and parity == self.parity

    def serve(self):
        heard = 0.0
        while True:
            ours = self.ours
            try:
                if ours is None or not select.select([ours], [], [], 0.1)[0]:
                    time.sleep(0 if ours else 0.05)
                    continue
                request = os.read(ours, 512)
            except (OSError, ValueError):
                continue  # unplugged meanwhile
            if time.monotonic() - heard > 0.02:
                self.framer.resetFrame()  # a pause ends a frame
            heard = time.monotonic()
            self.take(request)

    def take(self, request):
        def answer(asked):
            name, unit, turn_s = self.units[asked.unit_id]
            with self.bench.lock:
                if not self.bench.powered[name]:
                    return
                self.bench.catch_up()
                reply = asked.execute(unit)
            reply.unit_id = asked.unit_id
            packet = self.framer.buildPacket(reply)
            wire_s = 11 * (len(request) + len(packet)) / self.baud
            time.sleep((turn_s + wire_s) / self.bench.speed)
            if self.ours is not None:
                os.write(self.ours, packet)

        try:
            if self.understands():
                self.framer.processIncomingPacket(
                    request, answer, list(self.units), single=False
                )
        except Exception:  # what is no request of this standard is not answered
            self.framer.resetFrame()


class Hands:
    """What a person does, line by line."""

    def __init__(self, bench, lines):
        self.bench, self.lines, self.box = bench, lines, bench.box
        some = "|".join(PROBES)
        self.verbs = {
            rf"hold ({some})": self.hold,
            r"let go": self.let_go,
            rf"dip ({some})(?: ([\d.]+))?": lambda p, c: self.move(
                p, "water", float(c or TAP_C)
            ),
            rf"boil ({some})": lambda p: self.move(p, "water", BOILING_C),
            rf"probe out ({some})": lambda p: self.move(p, "air"),
            rf"put back(?: ({some}))?": self.put_back,
            rf"(take off|put on) ({some})": self.wires,
            r"press (enable|pedal)": lambda c: self.contact(c, True),
            r"release(?: (enable|pedal))?": self.release,
            r"tap (enable|pedal)": self.tap,
            r"(open|close) (e-stop|cut-out|fan)": lambda verb, c: self.contact(
                c, verb == "close"
            ),
            r"supply (on|off)(?: (thermocouples|outputs|inputs|all))?": self.supply,
            r"mains (on|off)": self.switch_mains,
            r"unplug(?: (\d))?": lambda n: self.line(n).unplug(),
            r"plug in(?: (\d))?": lambda n: self.line(n).plug_in(),
            r"set time-out ([\d.]+)": self.set_timeout,
            rf"swap leads ({some})": self.swap,
            rf"set type ({some}) ([A-Z])": self.set_type,
        }
        if bench.told_s is not None:
            self.verbs[r"now ([\d.]+)"] = self.tell_time

    def do(self, typed):
        words = " ".join(typed.split())
        for form, verb in self.verbs.items():
            if match := re.fullmatch(form, words):
                with self.bench.lock:
                    self.bench.catch_up()
                    verb(*match.groups())
                return
        if words:
            known = ", ".join(v.split("(")[0].strip(" ?:") for v in self.verbs)
            print(f"hands: {words!r} is none of: {known}", file=sys.stderr, flush=True)

    def line(self, number):
        return self.lines[min(int(number or 1), len(self.lines)) - 1]

    def hold(self, probe):
        self.let_go()
        self.move(probe, "hand")

    def let_go(self):
        for probe in self.box.probes.values():
            if probe.where == "hand":
                probe.where = "place"

    def move(self, probe, where, water=0.0):
        self.box.probes[probe].where, self.box.probes[probe].water = where, water

    def put_back(self, probe):
        for name in [probe] if probe else PROBES:
            self.move(name, "place")

    def wires(self, verb, probe):
        self.box.probes[probe].off = verb == "take off"

    def contact(self, contact, closed):
        self.bench.closed[contact] = closed

    def release(self, contact):
        for c in [contact] if contact else ["enable", "pedal"]:
            self.contact(c, False)

    def tap(self, contact):
        self.contact(contact, True)
        threading.Timer(1 / self.bench.speed, lambda: self.do(f"release {contact}")).start()

    def supply(self, verb, module):
        for name in self.bench.powered:
            if module == "all" or name == (module or "outputs"):
                self.bench.switch(name, verb == "on")

    def switch_mains(self, verb):
        self.bench.mains = verb == "on"

    def set_timeout(self, seconds):
        self.box.outputs.timeout_s = float(seconds)

    def swap(self, probe):
        self.box.probes[probe].swapped = not self.box.probes[probe].swapped

    def tell_time(self, seconds):
        self.bench.told_s = float(seconds)
        self.bench.catch_up()

    def set_type(self, probe, name):
        self.box.probes[probe].set_to = name


def listen(hands, fifo):
    """Lines from the standard input, and from a FIFO that writers come to and leave."""
    if fifo:
        if not os.path.exists(fifo):
            os.mkfifo(fifo)
        source = os.fdopen(os.open(fifo, os.O_RDWR), encoding="utf-8")
        threading.Thread(target=follow, args=(hands, source), daemon=True).start()
    threading.Thread(target=follow, args=(hands, sys.stdin), daemon=True).start()


def follow(hands, source):
    for typed in source:
        hands.do(typed)


def main():
    logging.disable(logging.CRITICAL)  # the library calls every refusal an error
    a = argparse.ArgumentParser()
    a.add_argument("--seed", type=int, required=True)
    a.add_argument("--port", action="append", default=[])
    a.add_argument("--manual", action="store_true")
    a.add_argument("--reveal", action="store_true")
    a.add_argument("--speed", type=float, default=1)
    a.add_argument("--told", action="store_true")
    a.add_argument("--hands")
    a.add_argument("--faults", action="store_true")
    a.add_argument("--no-labels", action="store_true")
    asked = a.parse_args()
    box = Box(asked.seed, max(len(asked.port), 1), asked.faults)
    if asked.manual:
        print(box.manual(not asked.no_labels))
    if asked.reveal:
        print(json.dumps(box.reveal(), indent=1))
    if not asked.port:
        return
    bench = Bench(box, asked.speed, asked.told)
    lines = [Line(bench, i, path) for i, path in enumerate(asked.port[:2])]
    for line in lines:
        threading.Thread(target=line.serve, daemon=True).start()
    listen(Hands(bench, lines), asked.hands)
    try:
        while True:
            time.sleep(1 / asked.speed)
            with bench.lock:
                bench.catch_up()
                print(json.dumps(bench.truth()), flush=True)
    except (KeyboardInterrupt, BrokenPipeError):
        pass
    finally:
        for line in lines:
            line.unplug()


if __name__ == "__main__":
    main()
