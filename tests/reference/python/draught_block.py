"""Reads and writes schedule blocks: docs/encoding.md in Python, written from that page alone.

    schedule = read(block, capacity)    # or raises Refused(code, at, step)
    block = write(schedule)             # or raises ValueError

It shares nothing with the Rust code: another language, another shape, own calendar and CRC. Python 3.9 or later, nothing else.
"""

from layout import (
    BYTE, DATE, DEFAULTS, DEVIATION_LIMIT, DEVIATION_TIME, FAULT_RULES, FLAG, LARGEST_FINE, LATE_TOLERANCE,
    LONGEST_NAME, MOST_STEPS, OUTAGE_RULES, RESUME_WITHIN, RETRY_EVERY, RETRY_TIMES, SETTINGS, SHORT, STEPS,
    STEP_TAGS, TARGETS, TARGET_KINDS, TIME_OF_DAY, Range, Schedule, crc_32c, has_control_character,
)
from table_rules import broken_rule


class Refused(Exception):
    """A block is refused: the code, the offset, and the number of the step or None."""

    def __init__(self, code, at, step=None):
        super().__init__(code, at, step)
        self.code, self.at, self.step = code, at, step


# ---- Reading ----


def read(block, capacity, fields=None):
    """The schedule in a block, for a reader that has room for `capacity` steps.

    `fields` may be a list: each field that was read is appended, as [offset, length, name, step or None, value], where the
    value of a choice is its tag.
    """
    if len(block) < 6:
        raise Refused("too-short", len(block))
    body = block[:-4]
    if crc_32c(body) != block[-4:]:
        raise Refused("crc", len(body))
    return Reader(body, fields).schedule(capacity)


class Reader:
    """Reads field after field; the first fault raises Refused."""

    def __init__(self, body, fields):
        self.body = body  # everything but the CRC: to read past its end is an IndexError, and means `ends-early`
        self.fields = fields
        self.at = 0
        self.step = None

    def refuse(self, code, at):
        raise Refused(code, at, self.step)

    def note(self, start, name, value):
        if self.fields is not None:
            self.fields.append([start, self.at - start, name, self.step, value])

    def byte(self):
        at = self.at
        try:
            byte = self.body[at]
        except IndexError:
            self.refuse("ends-early", at)
        self.at = at + 1
        return byte

    def number(self, largest=0xFFFF_FFFF):
        body, start = self.body, self.at
        at, shift = start + 1, 0
        try:
            byte = value = body[start]
            if byte < 0x80:
                self.at = at
                return value
            value &= 0x7F
            while byte >= 0x80:
                byte = body[at]
                at += 1
                shift += 7
                if shift == 28 and byte > 0x0F:
                    self.refuse("number-too-large", start)
                value |= (byte & 0x7F) << shift
        except IndexError:
            self.refuse("ends-early", start)
        if byte == 0:
            self.refuse("over-long", start)
        if value > largest:
            self.refuse("number-too-large", start)
        self.at = at
        return value

    def choice(self, name, options):
        """Reads a choice; the option it picks."""
        start = self.at
        tag = self.byte()
        if tag >= len(options):
            self.refuse("unknown-tag", start)
        if self.fields is not None:
            self.note(start, name, tag)
        return options[tag]

    def value(self, name, kind):
        smallest, largest, form = kind
        start = self.at
        if form is BYTE:
            value = self.byte()
        elif form is SHORT:
            value = self.number(0xFFFF)
        else:
            written = self.number()
            unit = written & 3
            value = (written >> 2) * form[unit]
        if not smallest <= value <= largest:
            self.refuse("out-of-range", start)
        if form is not BYTE and form is not SHORT:
            if value > LARGEST_FINE and value % form[1]:
                self.refuse("out-of-range", start)
            if unit < 3 and value % form[unit + 1] == 0:
                self.refuse("scale-not-largest", start)
        if self.fields is not None:
            self.note(start, name, value)
        return value

    def target(self):
        kind = self.choice("target", TARGET_KINDS)
        return kind, self.value(kind, TARGETS[kind])

    def schedule(self, capacity):
        if self.byte() != 0x44:
            self.refuse("bad-magic", 0)
        self.note(0, "magic", 0x44)
        version = self.byte()
        if version != 1:
            self.refuse("bad-version" if version == 0 else "newer-format", 1)
        self.note(1, "version", 1)
        offset = self.byte()
        if offset >= 0x80:
            offset -= 0x100
        if not -48 <= offset <= 56:
            self.refuse("out-of-range", 2)
        self.note(2, "utc-offset", offset)
        schedule = Schedule(offset, self.target())
        self.settings(schedule)
        self.steps(schedule, capacity)
        return schedule

    def settings(self, schedule):
        start = self.at
        count = self.number()
        self.note(start, "settings", count)
        last = -1
        for _ in range(count):
            start = self.at
            setting = self.choice("setting", SETTINGS)
            tag = SETTINGS.index(setting)
            if tag <= last:
                self.refuse("setting-twice" if tag == last else "setting-order", start)
            last = tag
            value = getattr(self, setting)()
            if value == DEFAULTS[tag]:
                self.refuse("setting-default", start)
            setattr(schedule, setting, value)

    def name(self):
        start = self.at
        length = self.number()
        if length > LONGEST_NAME:
            self.refuse("name-too-long", start)
        self.note(start, "name length", length)
        start = self.at
        text = self.body[start : start + length]
        if len(text) < length:
            self.refuse("ends-early", start)
        try:
            text = text.decode("utf-8")
        except UnicodeDecodeError:
            self.refuse("name-not-utf8", start)
        if has_control_character(text):
            self.refuse("name-control", start)
        self.at += length
        self.note(start, "name", text)
        return text

    def start_by(self):
        return self.value("start-by date", DATE), self.value("start-by time", TIME_OF_DAY)

    def late(self):
        return self.value("late-tolerance", LATE_TOLERANCE)

    def outage(self):
        rule = self.choice("outage rule", OUTAGE_RULES)
        if rule == "abandon":
            return (rule,)
        return rule, self.value("resume-within", RESUME_WITHIN), self.choice("while-charging", FLAG)

    def fault(self):
        rule = self.choice("fault rule", FAULT_RULES)
        if rule != "retry":
            return (rule,)
        return rule, self.value("retry every", RETRY_EVERY), self.value("retry times", RETRY_TIMES)

    def limits(self):
        percent = self.value("flow deviation limit", DEVIATION_LIMIT)
        time = self.value("flow deviation time", DEVIATION_TIME)
        pressure = None
        if self.choice("pressure limit", FLAG) == "yes":
            pressure = self.value("pressure at most", TARGETS["pressure"])
        return percent, time, pressure

    def steps(self, schedule, capacity):
        start = self.at
        count = self.number()
        if count > min(capacity, MOST_STEPS):
            self.refuse("too-many-steps", start)
        self.note(start, "steps", count)
        starts, steps = [], []
        for self.step in range(1, count + 1):
            starts.append(self.at)
            kind, fields, own_target = self.choice("step", STEPS)
            step = [kind]
            for name, form in fields:
                step.append(self.value(name, form) if type(form) is Range else self.choice(name, form))
            if own_target:
                start = self.at
                target = self.target()
                if target == schedule.target:
                    self.refuse("own-target-same", start)
                step += target
            steps.append(tuple(step))
        self.step = None
        if self.at < len(self.body):
            self.refuse("trailing-bytes", self.at)
        broken = broken_rule(steps)
        if broken:
            code, number = broken
            raise Refused(code, starts[number - 1] if starts else self.at, number)
        schedule.steps = tuple(steps)


# ---- Writing ----


def write(schedule):
    """The block of a legal schedule. ValueError says what is not legal in another."""
    out = bytearray((0x44, 0x01))
    if not -48 <= schedule.offset <= 56:
        raise ValueError(f"no UTC offset: {schedule.offset} quarter-hours")
    out.append(schedule.offset & 0xFF)
    put_target(out, schedule.target)
    put_settings(out, schedule)
    put_steps(out, schedule)
    return bytes(out) + crc_32c(out)


def put_number(out, number):
    while number >= 0x80:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)


def put_choice(out, options, option):
    out.append(options.index(option))


def put_value(out, kind, value):
    smallest, largest, form = kind
    if not smallest <= value <= largest:
        raise ValueError(f"{value} is not from {smallest} to {largest}")
    if form is BYTE:
        out.append(value)
    elif form is SHORT:
        put_number(out, value)
    else:
        unit = 3
        while value % form[unit]:
            unit -= 1
        if unit == 0 and value > LARGEST_FINE:
            raise ValueError(f"{value} is not a multiple of {form[1]}")
        put_number(out, value // form[unit] * 4 + unit)


def put_target(out, target):
    kind, value = target
    put_choice(out, TARGET_KINDS, kind)
    put_value(out, TARGETS[kind], value)


def put_settings(out, schedule):
    values = [getattr(schedule, setting) for setting in SETTINGS]
    tags = [tag for tag, value in enumerate(values) if value != DEFAULTS[tag]]
    put_number(out, len(tags))
    for tag in tags:
        out.append(tag)
        PUT_SETTING[tag](out, values[tag])


def put_name(out, name):
    text = name.encode("utf-8")
    if len(text) > LONGEST_NAME or has_control_character(name):
        raise ValueError(f"not a name: {name!r}")
    put_number(out, len(text))
    out += text


def put_start_by(out, start_by):
    date, time = start_by
    put_value(out, DATE, date)
    put_value(out, TIME_OF_DAY, time)


def put_late(out, late):
    put_value(out, LATE_TOLERANCE, late)


def put_outage(out, outage):
    put_choice(out, OUTAGE_RULES, outage[0])
    if outage != ("abandon",):
        _, within, while_charging = outage
        put_value(out, RESUME_WITHIN, within)
        put_choice(out, FLAG, while_charging)


def put_fault(out, fault):
    put_choice(out, FAULT_RULES, fault[0])
    if fault != ("close",):
        _, every, times = fault
        put_value(out, RETRY_EVERY, every)
        put_value(out, RETRY_TIMES, times)


def put_limits(out, limits):
    percent, time, pressure = limits
    put_value(out, DEVIATION_LIMIT, percent)
    put_value(out, DEVIATION_TIME, time)
    put_choice(out, FLAG, "no" if pressure is None else "yes")
    if pressure is not None:
        put_value(out, TARGETS["pressure"], pressure)


PUT_SETTING = (put_name, put_start_by, put_late, put_outage, put_fault, put_limits)


def put_steps(out, schedule):
    steps = schedule.steps
    if len(steps) > MOST_STEPS:
        raise ValueError(f"{len(steps)} steps are more than {MOST_STEPS}")
    broken = broken_rule(steps)
    if broken:
        code, number = broken
        raise ValueError(f"step {number}: {code}")
    put_number(out, len(steps))
    for step in steps:
        kind, *values = step
        _, fields, _ = STEPS[STEP_TAGS[kind, False]]
        own_target = tuple(values[len(fields) :])
        if own_target == schedule.target:
            own_target = ()
        out.append(STEP_TAGS[kind, bool(own_target)])
        for (_, form), value in zip(fields, values):
            if type(form) is Range:
                put_value(out, form, value)
            else:
                put_choice(out, form, value)
        if own_target:
            put_target(out, own_target)
