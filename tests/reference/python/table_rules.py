"""The table rules of docs/encoding.md: whether steps whose bytes are good make a schedule.

Steps are the tuples of draught_block.py. Each step is looked at once, however deep its repeats lie.
"""

LAST_DAY = 49_672  # 2135-12-31
WEEKDAY_OF_DAY_0 = 5  # 2000-01-01 is a Saturday; Monday is 0

WAITS = ("date", "time", "weekday", "cycle")
MOST_AROUND = 4
MOST_PASSES = 65_536


def broken_rule(steps):
    """The first broken rule and the number of the step it names, or None."""
    before = []  # of each step, the waits right before it, by their kind
    group = {}  # the waits right before the step looked at
    repeats = []  # those that lie in no other so far: see add_repeat
    last_date = -1  # place of the last wait-for-date
    for place, step in enumerate(steps):
        kind, number = step[0], place + 1
        before.append(group)
        if kind == "finish":
            return ("after-finish", number + 1) if number < len(steps) else None
        if kind in WAITS:
            if kind in group:
                return "same-wait-twice", number
            group = {**group, kind: step}
            if never_met(group):
                return "never-met", number
            if kind == "date":
                last_date = place
            continue
        group = {}
        if kind == "repeat":
            code = add_repeat(repeats, place, step) or body_rule(steps, step, before, last_date)
            if code:
                return code, number
    return "no-finish", max(len(steps), 1)


# ---- Waits ----


def never_met(group):
    """Whether no day up to the end of 2135 satisfies all waits of a group. Each wait alone has such a day."""
    date, weekday, cycle = group.get("date"), group.get("weekday"), group.get("cycle")
    if date:
        day = date[1]
        return bool(
            (weekday and not weekday[1] >> (day + WEEKDAY_OF_DAY_0) % 7 & 1)
            or (cycle and (day < cycle[1] or (day - cycle[1]) % cycle[2] != 0))
        )
    if weekday and cycle:
        return not weekday[1] & weekdays_of_cycle(cycle[1], cycle[2])
    return False


def weekdays_of_cycle(first, every):
    """The weekdays on which the days of a cycle fall up to the end of 2135, as the bits of a wait-for-weekday.

    The first seven days of the cycle tell: seven times `every` days later it is the same weekday again, so each later day
    of the cycle has the weekday of the one seven before it. And one that is not past the end has all before it there too.
    vectors.py holds this against the plain look at every day.
    """
    found = 0
    for day in range(first, min(first + 7 * every, LAST_DAY + 1), every):
        found |= 1 << (day + WEEKDAY_OF_DAY_0) % 7
    return found


# ---- Repeats ----


def add_repeat(repeats, place, step):
    """Puts a repeat around those in its body, which then are no longer the outermost; or the code of a broken rule.

    `repeats` holds, of each outermost one, where its body begins, where it stands, how many repeats its deepest step has
    around it, and the largest product of passes along a nesting. Since none of them cross, those that stand in this body are
    the last in the list, and of those inside others nothing more needs to be known.
    """
    _, start, passes, _ = step
    start -= 1
    if start >= place:
        return "repeat-forward"
    around, product = 0, 1
    while repeats and repeats[-1][1] >= start:
        inner_start, _, inner_around, inner_product = repeats.pop()
        if inner_start < start:
            return "repeat-crosses"
        around, product = max(around, inner_around), max(product, inner_product)
    around, product = around + 1, product * passes
    if around > MOST_AROUND:
        return "too-deep"
    if product > MOST_PASSES:
        return "too-many-passes"
    repeats.append((start, place, around, product))
    return None


def body_rule(steps, step, before, last_date):
    start = step[1] - 1
    if steps[start][0] in WAITS and any(kind != "date" for kind in before[start]):
        return "enters-waits"
    if last_date >= start:
        return "date-repeats"
    return None
