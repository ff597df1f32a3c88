#!/usr/bin/env python3
"""A reader of schedule blocks, written from docs/encoding.md alone, and a check of the golden vectors with it.

    python3 tests/vectors/reader.py

It shares nothing with the Rust reader: another language, another shape, own calendar and CRC. It prints one line, and ends
with exit code 1 if a vector reads otherwise than its file says.
"""

import datetime
import json
import pathlib
import sys

TIME = (1, 1_000, 60_000, 3_600_000)
FLOW = (1, 1_000, 10_000, 100_000)
VOLUME = (1, 100, 1_000, 10_000)
PRESSURE = (1, 10, 100, 1_000)

# value -> (smallest, largest, form or units)
KINDS = {
    "duration": (1, 2_678_400_000, TIME),
    "time of day": (0, 86_399_999, TIME),
    "date": (0, 49_672, "short"),
    "flow": (1, 2_000_000_000, FLOW),
    "pressure": (1, 200_000, PRESSURE),
    "volume": (1, 4_000_000_000, VOLUME),
    "weekdays": (1, 127, "byte"),
    "every": (1, 366, "short"),
    "step number": (1, 255, "byte"),
    "passes": (2, 65_535, "short"),
    "late-tolerance": (5_000, 86_400_000, TIME),
    "resume-within": (1_000, 2_678_400_000, TIME),
    "retry every": (1_000, 86_400_000, TIME),
    "retry times": (1, 255, "byte"),
    "flow deviation limit": (1, 50, "byte"),
    "flow deviation time": (1_000, 3_600_000, TIME),
}

# tag -> the fields of a step: (name, kind), "target", or a choice as (name, length of its list)
STEPS = {
    0: [],
    1: [("date", "date")],
    2: [("time", "time of day")],
    3: [("weekdays", "weekdays")],
    4: [("cycle from", "date"), ("cycle every", "every")],
    5: [("run", "duration")],
    6: [("run", "duration"), "target"],
    7: [("until", "time of day"), ("at-most", "duration")],
    8: [("until", "time of day"), ("at-most", "duration"), "target"],
    9: [("volume", "volume"), ("at-most", "duration")],
    10: [("volume", "volume"), ("at-most", "duration"), "target"],
    11: [("hold", "duration")],
    12: [("at-most", "duration"), ("then", 2)],
    13: [("repeat from step", "step number"), ("passes", "passes"), ("sampler", 3)],
}

WAITS = (1, 2, 3, 4)
REPEAT = 13


class Refused(Exception):
    def __init__(self, code, at, step=None):
        super().__init__(code, at, step)
        self.said = (code, at, step)


def crc_32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return (crc ^ 0xFFFFFFFF).to_bytes(4, "little")


class Reader:
    def __init__(self, block, capacity):
        self.capacity = capacity
        self.step = None
        self.at = 0
        self.fields = []
        if len(block) < 6:
            raise Refused("too-short", len(block))
        self.body, crc = block[:-4], block[-4:]
        if crc_32c(self.body) != crc:
            raise Refused("crc", len(self.body))

    def refuse(self, code, at):
        raise Refused(code, at, self.step)

    def note(self, start, name, value):
        self.fields.append([start, self.at - start, name, self.step, value])

    def byte(self, start):
        if self.at >= len(self.body):
            self.refuse("ends-early", start)
        self.at += 1
        return self.body[self.at - 1]

    def number(self, largest=0xFFFFFFFF):
        start, value = self.at, 0
        for place in range(5):
            byte = self.byte(start)
            if place == 4 and byte > 0x0F:
                self.refuse("number-too-large", start)
            value |= (byte & 0x7F) << 7 * place
            if byte < 0x80:
                if place > 0 and byte == 0:
                    self.refuse("over-long", start)
                if value > largest:
                    self.refuse("number-too-large", start)
                return value

    def choice(self, name, count):
        start = self.at
        tag = self.byte(start)
        if tag >= count:
            self.refuse("unknown-tag", start)
        self.note(start, name, tag)
        return tag

    def value(self, name, kind):
        smallest, largest, form = KINDS[kind]
        start = self.at
        if form == "byte":
            value = self.byte(start)
        elif form == "short":
            value = self.number(0xFFFF)
        else:
            written = self.number()
            value = (written >> 2) * form[written & 3]
        whole = isinstance(form, str) or value <= 1_000_000_000 or value % form[1] == 0
        if not smallest <= value <= largest or not whole:
            self.refuse("out-of-range", start)
        if not isinstance(form, str):
            if max(unit for unit in range(4) if value % form[unit] == 0) != written & 3:
                self.refuse("scale-not-largest", start)
        self.note(start, name, value)
        return value

    def target(self):
        name = ("flow", "pressure")[self.choice("target", 2)]
        return name, self.value(name, name)

    def name(self):
        start = self.at
        length = self.number()
        if length > 24:
            self.refuse("name-too-long", start)
        self.note(start, "name length", length)
        start = self.at
        if len(self.body) - start < length:
            self.refuse("ends-early", start)
        try:
            text = self.body[start : start + length].decode("utf-8", "strict")
        except UnicodeDecodeError:
            self.refuse("name-not-utf8", start)
        if any(ord(c) <= 0x1F or 0x7F <= ord(c) <= 0x9F for c in text):
            self.refuse("name-control", start)
        self.at += length
        self.note(start, "name", text)
        return text

    def setting(self, tag):
        """Reads a setting; whether it has its default value."""
        if tag == 0:
            return self.name() == ""
        if tag == 1:
            self.value("start-by date", "date")
            self.value("start-by time", "time of day")
            return False
        if tag == 2:
            return self.value("late-tolerance", "late-tolerance") == 60_000
        if tag == 3:
            rule = self.choice("outage rule", 3)
            if rule == 2:
                return False
            within = self.value("resume-within", "resume-within")
            return (rule, within, self.choice("while-charging", 2)) == (0, 600_000, 0)
        if tag == 4:
            rule = self.choice("fault rule", 3)
            if rule == 1:
                self.value("retry every", "retry every")
                self.value("retry times", "retry times")
            return rule == 0
        percent = self.value("flow deviation limit", "flow deviation limit")
        time = self.value("flow deviation time", "flow deviation time")
        limit = self.choice("pressure limit", 2)
        if limit:
            self.value("pressure at most", "pressure")
        return (percent, time, limit) == (10, 60_000, 0)

    def block(self):
        start = self.at
        if self.byte(start) != 0x44:
            self.refuse("bad-magic", 0)
        self.note(start, "magic", 0x44)
        version = self.byte(1)
        if version != 1:
            self.refuse("bad-version" if version == 0 else "newer-format", 1)
        self.note(1, "version", 1)
        offset = int.from_bytes([self.byte(2)], "little", signed=True)
        if not -48 <= offset <= 56:
            self.refuse("out-of-range", 2)
        self.note(2, "utc-offset", offset)
        schedule = self.target()
        self.settings()
        start = self.at
        count = self.number()
        if count > min(self.capacity, 255):
            self.refuse("too-many-steps", start)
        self.note(start, "steps", count)
        steps = [self.one_step(number, schedule) for number in range(1, count + 1)]
        self.step = None
        if self.at < len(self.body):
            self.refuse("trailing-bytes", self.at)
        table_rules(steps, len(self.body))

    def settings(self):
        start = self.at
        count = self.number()
        self.note(start, "settings", count)
        last = -1
        for _ in range(count):
            start = self.at
            tag = self.choice("setting", 6)
            if tag <= last:
                self.refuse("setting-twice" if tag == last else "setting-order", start)
            last = tag
            if self.setting(tag):
                self.refuse("setting-default", start)

    def one_step(self, number, schedule):
        self.step = number
        start = self.at
        tag = self.choice("step", 14)
        values = []
        for field in STEPS[tag]:
            if field == "target":
                at = self.at
                if self.target() == schedule:
                    self.refuse("own-target-same", at)
            elif isinstance(field[1], int):
                values.append(self.choice(*field))
            else:
                values.append(self.value(*field))
        return start, tag, values


def table_rules(steps, end):
    tags = [tag for _, tag, _ in steps]
    for index in range(len(steps)):
        number, last = index + 1, index + 1 == len(steps)
        if tags[index] == 0:
            if not last:
                raise Refused("after-finish", steps[index + 1][0], number + 1)
            return
        code = None
        if tags[index] in WAITS:
            code = wait_rules(steps, index)
        elif tags[index] == REPEAT:
            code = repeat_rules(steps, tags, index)
        if code:
            raise Refused(code, steps[index][0], number)
    if steps:
        raise Refused("no-finish", steps[-1][0], len(steps))
    raise Refused("no-finish", end, 1)


def group_before(steps, index):
    """The waits right before a step."""
    first = index
    while first > 0 and steps[first - 1][1] in WAITS:
        first -= 1
    return steps[first:index]


def wait_rules(steps, index):
    group = group_before(steps, index)
    _, tag, _ = steps[index]
    if any(other == tag for _, other, _ in group):
        return "same-wait-twice"
    values = {t: v for _, t, v in group + [steps[index]]}
    days = [values[1][0]] if 1 in values else range(0, 49_673)
    if not any(day_fits(day, values) for day in days):
        return "never-met"
    return None


def day_fits(day, values):
    weekday = (datetime.date(2000, 1, 1) + datetime.timedelta(day)).weekday()
    if 3 in values and not values[3][0] >> weekday & 1:
        return False
    if 4 in values:
        first, every = values[4]
        return day >= first and (day - first) % every == 0
    return True


def repeat_rules(steps, tags, index):
    start = steps[index][2][0] - 1
    if start >= index:
        return "repeat-forward"
    bodies = [(values[0] - 1, at, values[1]) for at, (_, tag, values) in enumerate(steps) if tag == REPEAT]
    if any(start <= at < index and first < start for first, at, _ in bodies):
        return "repeat-crosses"
    around = [[n for first, at, n in bodies if first <= i < at <= index] for i in range(start, index)]
    if any(len(passes) > 4 for passes in around):
        return "too-deep"
    if any(product(passes) > 65_536 for passes in around):
        return "too-many-passes"
    if tags[start] in WAITS and any(tag != 1 for _, tag, _ in group_before(steps, start)):
        return "enters-waits"
    if 1 in tags[start:index]:
        return "date-repeats"
    return None


def product(numbers):
    result = 1
    for n in numbers:
        result *= n
    return result


def main():
    assert crc_32c(b"123456789") == 0xE3069283.to_bytes(4, "little")
    folder = pathlib.Path(__file__).parent / "v1"
    valid = json.loads((folder / "valid.json").read_text(encoding="utf-8"))
    refused = json.loads((folder / "refused.json").read_text(encoding="utf-8"))
    wrong = []
    for v in valid:
        block = bytes.fromhex(v["hex"])
        try:
            reader = Reader(block, 255)
            reader.block()
            if reader.fields != v["fields"] or block[-4:].hex() != v["id"]:
                wrong.append(f"{v['name']}: other fields or id")
        except Refused as e:
            wrong.append(f"{v['name']}: refused: {e.said}")
    for v in refused:
        try:
            Reader(bytes.fromhex(v["hex"]), v["capacity"]).block()
            wrong.append(f"{v['name']}: accepted")
        except Refused as e:
            if e.said != (v["code"], v["at"], v["step"]):
                wrong.append(f"{v['name']}: {e.said}")
    print(*wrong, sep="\n", end="\n" if wrong else "")
    print(f"{len(valid)} valid and {len(refused)} refused vectors, {len(wrong)} read otherwise")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
