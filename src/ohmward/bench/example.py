"""A list of meters to begin with: an example in comments, for the person to fill in.

Nothing in it counts before a person has written it down: a made-up accuracy would make verdicts out of air.
"""

from __future__ import annotations

from pathlib import Path

from ohmward.errors import Refused
from ohmward.logbook import disk

EXAMPLE = """\
# The meters of this bench. A run copies this file as it is, and judges by it.
# One [[meter]] a meter, one [[meter.accuracy]] for each function and range, as its manual states them.
# Take the '# ' away from the lines you need, and write in what is true of your own meters.

# [[meter]]
# name = "bench multimeter"             # what you call it
# kind = "multimeter"                   # or low-ohm, insulation, oscilloscope, thermometer, power, load
# serial = "A-0113"
# calibrated = 2026-03-01               # leave dates out that you do not know: it is then 'not stated'
# due = 2027-03-01
# test_current = "10 A"                 # a low-ohm meter that can measure an earth bond at high current

# Where it is reached, if the tool is to read it; without these you read its display and type.
# resource = "TCPIP::192.168.0.7::5025::SOCKET"   # or "ASRL/dev/ttyUSB0::INSTR", "USB0::…::INSTR"
# profile = "multimeter"                # how it is asked; the profile of its kind when left out

# [[meter.accuracy]]
# function = "dc volts"                 # or ac volts, ohms, low ohms, dc amps, ac amps, temperature
# range = "60 V"
# resolution = "10 mV"
# accuracy = "±(0.5 % + 2)"             # per cent of the reading, and counts of the last digit

# [[meter]]
# name = "insulation tester"
# kind = "insulation"

# [[meter.accuracy]]
# function = "insulation"
# range = "200 MΩ"
# resolution = "100 kΩ"
# accuracy = "±(3 % + 5)"
"""


def begin(path: Path) -> None:
    """Write the example where no list of meters is yet.

    Raises
    ------
    Refused
        When there is one: it is never written over.
    Unreachable
        When it cannot be written.
    """
    disk.make_folders(path.parent)
    try:
        disk.write_new(path, EXAMPLE.encode("utf-8"))
    except FileExistsError as error:
        raise Refused(
            "meters", [f"{path} is there already"], "Write in it with a text editor; it is never written over"
        ) from error
    except OSError as error:
        raise disk.unreachable(path, "cannot be written", error) from error
