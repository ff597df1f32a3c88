"""What a block can say, and the tables of docs/encoding.md that its fields follow."""

from dataclasses import dataclass
from typing import NamedTuple

from table_rules import LAST_DAY


@dataclass
class Schedule:
    """What a block says, in base units. A choice is the name of its option; what is left out has its default here.

    A step is a tuple: its kind, then its fields as they stand in the block, the two of its own target last if it has one:
    ("finish",), ("cycle", from, every), ("run-for", ms), ("run-for", ms, "flow", n), ("repeat", from, passes, "same").
    """

    offset: int  # quarter-hours
    target: tuple  # ("flow", µL/min) or ("pressure", Pa)
    name: str = ""
    start_by: "tuple | None" = None  # (date, time of day)
    late: int = 60_000
    outage: tuple = ("keep-stop-time", 600_000, "no")  # or ("make-up-time", ms, while charging), ("abandon",)
    fault: tuple = ("stop",)  # or ("retry", ms, times), ("close",)
    limits: tuple = (10, 60_000, None)  # %, ms, Pa
    steps: tuple = ()


class Range(NamedTuple):
    """A kind of value: its ends, both legal, and its form: BYTE, SHORT, or the four units of a scaled number."""

    smallest: int
    largest: int
    form: "str | tuple"


BYTE, SHORT = "byte", "short"
# Each unit divides the next: so a larger one divides a value exactly if the next one does.
TIME = (1, 1_000, 60_000, 3_600_000)
FLOW = (1, 1_000, 10_000, 100_000)
VOLUME = (1, 100, 1_000, 10_000)
PRESSURE = (1, 10, 100, 1_000)
LARGEST_FINE = 1_000_000_000  # above it only whole multiples of unit 1

DURATION = Range(1, 2_678_400_000, TIME)
TIME_OF_DAY = Range(0, 86_399_999, TIME)
DATE = Range(0, LAST_DAY, SHORT)
WEEKDAYS = Range(1, 127, BYTE)
EVERY = Range(1, 366, SHORT)
STEP_NUMBER = Range(1, 255, BYTE)
PASSES = Range(2, 65_535, SHORT)
LATE_TOLERANCE = Range(5_000, 86_400_000, TIME)
RESUME_WITHIN = Range(1_000, 2_678_400_000, TIME)
RETRY_EVERY = Range(1_000, 86_400_000, TIME)
RETRY_TIMES = Range(1, 255, BYTE)
DEVIATION_LIMIT = Range(1, 50, BYTE)
DEVIATION_TIME = Range(1_000, 3_600_000, TIME)
VOLUME_TO_DRAW = Range(1, 4_000_000_000, VOLUME)
TARGETS = {"flow": Range(1, 2_000_000_000, FLOW), "pressure": Range(1, 200_000, PRESSURE)}

# Choices: the place of an option is its tag.
TARGET_KINDS = ("flow", "pressure")
FLAG = ("no", "yes")
OUTAGE_RULES = ("keep-stop-time", "make-up-time", "abandon")
FAULT_RULES = ("stop", "retry", "close")
SETTINGS = ("name", "start_by", "late", "outage", "fault", "limits")
DEFAULTS = [getattr(Schedule, setting) for setting in SETTINGS]

# The place of a step is its tag: kind, fields (name, range or choice), whether a target follows.
RUN_FOR = ("run-for", (("run", DURATION),))
RUN_UNTIL = ("run-until", (("until", TIME_OF_DAY), ("at-most", DURATION)))
DRAW_VOLUME = ("draw-volume", (("volume", VOLUME_TO_DRAW), ("at-most", DURATION)))
STEPS = (
    ("finish", (), False),
    ("date", (("date", DATE),), False),
    ("time", (("time", TIME_OF_DAY),), False),
    ("weekday", (("weekdays", WEEKDAYS),), False),
    ("cycle", (("cycle from", DATE), ("cycle every", EVERY)), False),
    (*RUN_FOR, False),
    (*RUN_FOR, True),
    (*RUN_UNTIL, False),
    (*RUN_UNTIL, True),
    (*DRAW_VOLUME, False),
    (*DRAW_VOLUME, True),
    ("hold", (("hold", DURATION),), False),
    ("hold-until-resumed", (("at-most", DURATION), ("then", ("continue", "close"))), False),
    (
        "repeat",
        (("repeat from step", STEP_NUMBER), ("passes", PASSES), ("sampler", ("same", "fresh", "fresh-confirmed"))),
        False,
    ),
)
STEP_TAGS = {(kind, own): tag for tag, (kind, _, own) in enumerate(STEPS)}

LONGEST_NAME = 24  # bytes
MOST_STEPS = 255


def has_control_character(text):
    return any(c <= "\x1f" or "\x7f" <= c <= "\x9f" for c in text)


# ---- CRC-32C ----


def crc_of_byte(crc):
    for _ in range(8):
        crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)  # 0x1EDC6F41, its bits reflected
    return crc


CRC_TABLE = tuple(crc_of_byte(byte) for byte in range(256))


def crc_32c(data):
    """The four bytes of the CRC in their order; as hex digits the schedule's id."""
    crc, table = 0xFFFFFFFF, CRC_TABLE
    for byte in data:
        crc = table[(crc ^ byte) & 0xFF] ^ crc >> 8
    return (crc ^ 0xFFFFFFFF).to_bytes(4, "little")
