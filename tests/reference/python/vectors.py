#!/usr/bin/env python3
"""Checks draught_block.py on all golden vectors.

    python3 tests/reference/python/vectors.py

It prints a line for each vector that is read or written otherwise than its file says, one that counts them, and ends with
exit code 1 if there is any.
"""

import datetime
import json
import pathlib
import sys
from dataclasses import replace

import conformance
from draught_block import Refused, read, write
from layout import FAULT_RULES, FLAG, OUTAGE_RULES, STEP_TAGS, STEPS, TARGET_KINDS, Range, Schedule, crc_32c
from table_rules import LAST_DAY, never_met, weekdays_of_cycle

VECTORS = pathlib.Path(__file__).resolve().parents[2] / "vectors" / "v1"


def schedule_of(fields):
    """The schedule that the listed fields of a vector make. Offsets, lengths and counts are not looked at."""
    head = {name: value for _, _, name, step, value in fields if step is None}
    steps = {}
    for _, _, _, step, value in fields:
        if step is not None:
            steps.setdefault(step, []).append(value)
    kind = TARGET_KINDS[head["target"]]
    schedule = Schedule(head["utc-offset"], (kind, head[kind]), steps=tuple(map(step_of, steps.values())))
    schedule.name = head.get("name", schedule.name)
    schedule.late = head.get("late-tolerance", schedule.late)
    if "start-by date" in head:
        schedule.start_by = head["start-by date"], head["start-by time"]
    if "outage rule" in head:
        rule = OUTAGE_RULES[head["outage rule"]]
        schedule.outage = (rule,)
        if "resume-within" in head:
            schedule.outage = rule, head["resume-within"], FLAG[head["while-charging"]]
    if "fault rule" in head:
        schedule.fault = (FAULT_RULES[head["fault rule"]],)
        if "retry every" in head:
            schedule.fault += head["retry every"], head["retry times"]
    if "flow deviation limit" in head:
        schedule.limits = head["flow deviation limit"], head["flow deviation time"], head.get("pressure at most")
    return schedule


def step_of(values):
    tag, *values = values
    kind, fields, own_target = STEPS[tag]
    step = [kind]
    for (_, form), value in zip(fields, values):
        step.append(value if type(form) is Range else form[value])
    if own_target:
        target, value = values[len(fields) :]
        step += TARGET_KINDS[target], value
    return tuple(step)


def with_own_target(step, target):
    """The step, with the schedule's target as its own if it pumps and has none."""
    kind, *values = step
    if (kind, True) in STEP_TAGS and len(values) == len(STEPS[STEP_TAGS[kind, True]][1]):
        return step + target
    return step


def faults_of_valid(vector):
    block, fields = bytes.fromhex(vector["hex"]), []
    try:
        schedule = read(block, 255, fields)
    except Refused as refused:
        yield f"refused: {refused}"
        return
    if fields != vector["fields"]:
        yield next(f"field {a}, not {b}" for a, b in zip(fields + [None], vector["fields"] + [None]) if a != b)
    if block[-4:].hex() != vector["id"]:
        yield "another id"
    if schedule != schedule_of(vector["fields"]):
        yield "another schedule than its fields make"
    if write(schedule) != block:
        yield "what was read is written otherwise"
    if write(schedule_of(vector["fields"])) != block:
        yield "the fields are written otherwise"
    spelt_out = [with_own_target(step, schedule.target) for step in schedule.steps]
    if write(replace(schedule, steps=tuple(spelt_out))) != block:
        yield "own targets that are the schedule's are written"
    line = "write " + conformance.value_of(schedule)
    if conformance.answer(line) != vector["hex"]:
        yield "as a line of the conformance run it is written otherwise"


def faults_of_refused(vector):
    try:
        read(bytes.fromhex(vector["hex"]), vector["capacity"])
        yield "accepted"
    except Refused as refused:
        said = refused.code, refused.at, refused.step
        if said != (vector["code"], vector["at"], vector["step"]):
            yield f"refused otherwise: {said}"


def faults_of_rules():
    """What the vectors cannot show whole: the CRC's check value, and `never-met` against the plain look at every day."""
    if crc_32c(b"123456789") != 0xE3069283.to_bytes(4, "little"):
        yield "CRC: another check value"
    first_day = datetime.date(2000, 1, 1)
    weekdays = [(first_day + datetime.timedelta(day)).weekday() for day in range(LAST_DAY + 1)]
    if first_day + datetime.timedelta(LAST_DAY) != datetime.date(2135, 12, 31):
        yield "calendar: another last day"
    for day, weekday in enumerate(weekdays):
        if any(never_met({"date": ("date", day), "weekday": ("weekday", 1 << w)}) == (w == weekday) for w in range(7)):
            yield f"never-met: day {day} has another weekday"
    for every in range(1, 367):
        near_the_end = range(LAST_DAY - 7 * every - 1, LAST_DAY + 1, max(1, every // 2))
        for first in (*range(7), 25_000, *near_the_end, LAST_DAY):
            plain = sum(1 << weekday for weekday in set(weekdays[first::every]))
            if weekdays_of_cycle(first, every) != plain:
                yield f"never-met: other weekdays for a cycle from {first} every {every}"
            cycle = ("cycle", first, every)
            for day in (first - every, first - 1, first, first + 1, first + every):
                met = day in range(first, LAST_DAY + 1, every)
                if 0 <= day <= LAST_DAY and never_met({"date": ("date", day), "cycle": cycle}) == met:
                    yield f"never-met: day {day} for a cycle from {first} every {every}"


def main():
    wrong, counts = list(faults_of_rules()), []
    for kind, faults in (("valid", faults_of_valid), ("refused", faults_of_refused)):
        vectors = json.loads((VECTORS / f"{kind}.json").read_text(encoding="utf-8"))
        counts.append(f"{len(vectors)} {kind}")
        wrong += [f"{vector['name']}: {fault}" for vector in vectors for fault in faults(vector)]
    print(*wrong, sep="\n", end="\n" if wrong else "")
    print(f"{' and '.join(counts)} vectors, {len(wrong)} read or written otherwise")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
