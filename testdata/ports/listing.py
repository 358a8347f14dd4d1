"""What pyserial 3.5 reads of the serial ports of a Linux system whose /sys and /dev lie
below a folder, as JSON: an independent reading for the tests of devices/ports."""
import builtins
import glob
import json
import os
import sys

from serial.tools import list_ports_linux

root = sys.argv[1]


def below(path):
    return root + path if isinstance(path, str) and path.startswith(("/sys/", "/dev/")) else path


def led(function):
    return lambda path, *more: function(below(path), *more)


found = glob.glob
glob.glob = lambda pattern: [path[len(root):] for path in found(below(pattern))]
os.path.exists, os.path.islink, os.path.realpath = led(os.path.exists), led(os.path.islink), led(os.path.realpath)
builtins.open = led(open)

json.dump([{
    "name": p.device, "vendor": "%04x" % p.vid, "product": "%04x" % p.pid, "serial": p.serial_number or "",
    "text": p.product or "", "location": p.location,
} for p in list_ports_linux.comports()], sys.stdout)
