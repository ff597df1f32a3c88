#!/usr/bin/env python3
"""Reads and writes schedule blocks as told on standard input, a case a line: see tests/reference/README.md.

    echo 'read 32 4401000067000100ccbc17a9' | python3 tests/reference/python/conformance.py
"""

import re
import sys

from draught_block import Refused, read, write
from layout import Schedule

NUMBER = "[0-9]+"
TARGET = f"(?:flow|pressure):{NUMBER}"
OUTAGE = f"(?:keep-stop-time|make-up-time):{NUMBER}:(?:no|yes)|abandon"
FAULT = f"stop|retry:{NUMBER}:{NUMBER}|close"
PUMPING = f"run-for:{NUMBER}|run-until:{NUMBER}:{NUMBER}|draw-volume:{NUMBER}:{NUMBER}"
STEP = (
    f"finish|date:{NUMBER}|time:{NUMBER}|weekday:{NUMBER}|cycle:{NUMBER}:{NUMBER}|(?:{PUMPING})(?::{TARGET})?"
    f"|hold:{NUMBER}|hold-until-resumed:{NUMBER}:(?:continue|close)"
    f"|repeat:{NUMBER}:{NUMBER}:(?:same|fresh|fresh-confirmed)"
)
VALUE = (
    f"offset=(-?{NUMBER}) target=({TARGET}) name=(-|(?:[0-9a-f]{{2}})+) start-by=(-|{NUMBER}:{NUMBER}) late=({NUMBER})"
    f" outage=({OUTAGE}) fault=({FAULT}) limits=({NUMBER}):({NUMBER}):(-|{NUMBER}) steps=({NUMBER})((?: (?:{STEP}))*)"
)
READ = re.compile(f"read ({NUMBER}) (-|(?:[0-9a-f]{{2}})+)")
WRITE = re.compile(f"write {VALUE}")


def joined(parts):
    return ":".join(map(str, parts))


def parted(text):
    return tuple(int(part) if part.isdigit() else part for part in text.split(":"))


def value_of(schedule):
    """A schedule as one line."""
    percent, time, pressure = schedule.limits
    return " ".join(
        [
            f"offset={schedule.offset}",
            f"target={joined(schedule.target)}",
            f"name={schedule.name.encode('utf-8').hex() or '-'}",
            f"start-by={joined(schedule.start_by) if schedule.start_by else '-'}",
            f"late={schedule.late}",
            f"outage={joined(schedule.outage)}",
            f"fault={joined(schedule.fault)}",
            f"limits={percent}:{time}:{'-' if pressure is None else pressure}",
            f"steps={len(schedule.steps)}",
            *[joined(step) for step in schedule.steps],
        ]
    )


def schedule_of(groups):
    """The schedule in the groups of VALUE."""
    offset, target, name, start_by, late, outage, fault, percent, time, pressure, count, steps = groups
    steps = steps.split()
    if len(steps) != int(count):
        raise ValueError(f"{len(steps)} steps where {count} were announced")
    return Schedule(
        offset=int(offset),
        target=parted(target),
        name="" if name == "-" else bytes.fromhex(name).decode("utf-8"),
        start_by=None if start_by == "-" else parted(start_by),
        late=int(late),
        outage=parted(outage),
        fault=parted(fault),
        limits=(int(percent), int(time), None if pressure == "-" else int(pressure)),
        steps=tuple(map(parted, steps)),
    )


def answer(line):
    """The answer to a case; ValueError if the line is none."""
    case = READ.fullmatch(line)
    if case:
        capacity, digits = case.groups()
        try:
            return "ok " + value_of(read(bytes.fromhex("" if digits == "-" else digits), int(capacity)))
        except Refused as refused:
            return f"refused {refused.code} {refused.at} {'-' if refused.step is None else refused.step}"
    case = WRITE.fullmatch(line)
    if case:
        return write(schedule_of(case.groups())).hex()
    raise ValueError("neither `read CAPACITY HEX` nor `write VALUE`")


def main():
    # A byte that is not ASCII becomes an escape, which no case has. Answers are buffered by the stream, some KiB of them.
    sys.stdin.reconfigure(encoding="ascii", errors="backslashreplace", newline="\n")
    sys.stdout.reconfigure(encoding="ascii", newline="\n")
    for number, line in enumerate(sys.stdin, 1):
        try:
            said = answer(line.rstrip("\n"))
        except ValueError as error:
            shown = line if len(line) <= 80 else line[:80] + "..."
            print(f"error: line {number}: {error}: {shown!r}", file=sys.stderr)
            return 2
        sys.stdout.write(said + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
