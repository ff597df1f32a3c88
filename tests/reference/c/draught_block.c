/* Parts, in order: the fields, reading, the table rules, writing. The page is docs/encoding.md. */
#include "draught_block.h"

enum { MAGIC = 'D', VERSION = 1, CRC_BYTES = 4, SHORTEST_ENVELOPE_BYTES = 6 };
enum { DAY_LAST = 49672, NESTING_MAX = 4, UNIT_COUNT = 4 };

static const uint32_t FINEST_MOST = 1000000000u; /* what is larger exists in whole multiples of unit 1 only */
static const uint32_t NESTED_PASSES_MOST = 65536u;

/* ---- Fields: what each may hold, for reader and writer alike ---- */

struct scaled_field {
    uint32_t least, most;      /* in base units */
    uint32_t unit[UNIT_COUNT]; /* each divides the next, and the first is 1 */
};

#define TIME_UNITS_MS { 1, 1000, 60000, 3600000 }

static const struct scaled_field DURATION_MS = { 1, 2678400000u, TIME_UNITS_MS };
static const struct scaled_field TIME_OF_DAY_MS = { 0, 86399999, TIME_UNITS_MS };
static const struct scaled_field LATE_TOLERANCE_MS = { 5000, 86400000, TIME_UNITS_MS };
static const struct scaled_field RESUME_WITHIN_MS = { 1000, 2678400000u, TIME_UNITS_MS };
static const struct scaled_field RETRY_EVERY_MS = { 1000, 86400000, TIME_UNITS_MS };
static const struct scaled_field FLOW_DEVIATION_TIME_MS = { 1000, 3600000, TIME_UNITS_MS };
static const struct scaled_field FLOW_UL_PER_MIN = { 1, 2000000000, { 1, 1000, 10000, 100000 } };
static const struct scaled_field PRESSURE_PA = { 1, 200000, { 1, 10, 100, 1000 } };
static const struct scaled_field VOLUME_ML = { 1, 4000000000u, { 1, 100, 1000, 10000 } };

/* A byte or a short number. */
struct plain_field {
    uint16_t least, most;
};

static const struct plain_field DAY = { 0, DAY_LAST };
static const struct plain_field EVERY_DAYS = { 1, 366 };
static const struct plain_field PASSES = { 2, 65535 };
static const struct plain_field WEEKDAY_BITS = { 1, 127 };
static const struct plain_field STEP_NUMBER = { 1, 255 };
static const struct plain_field RETRY_TIMES = { 1, 255 };
static const struct plain_field FLOW_DEVIATION_PERCENT = { 1, 50 };

/* The tags of settings, and how many values the choices have. */
enum {
    SETTING_NAME,
    SETTING_START_BY,
    SETTING_LATE_TOLERANCE,
    SETTING_OUTAGE,
    SETTING_FAULT,
    SETTING_LIMITS,
    SETTINGS
};
enum { FLAGS = 2, KEPT = 2, OUTAGES = 3, FAULTS = 3, THENS = 2, SAMPLERS = 3 };

/* The tag of a step is its place here. An own target is always the last field. */
static const struct step_tag {
    uint8_t kind;
    bool own_target;
} STEP_TAGS[] = {
    { DRAUGHT_FINISH, false },
    { DRAUGHT_WAIT_FOR_DATE, false },
    { DRAUGHT_WAIT_FOR_TIME, false },
    { DRAUGHT_WAIT_FOR_WEEKDAY, false },
    { DRAUGHT_WAIT_FOR_CYCLE_DAY, false },
    { DRAUGHT_RUN_FOR, false },
    { DRAUGHT_RUN_FOR, true },
    { DRAUGHT_RUN_UNTIL, false },
    { DRAUGHT_RUN_UNTIL, true },
    { DRAUGHT_DRAW_VOLUME, false },
    { DRAUGHT_DRAW_VOLUME, true },
    { DRAUGHT_HOLD, false },
    { DRAUGHT_HOLD_UNTIL_RESUMED, false },
    { DRAUGHT_REPEAT, false },
};
enum { STEP_TAG_COUNT = sizeof STEP_TAGS / sizeof STEP_TAGS[0] };

/* 64 bits, since a reader must judge products that 32 do not hold. */
static bool scaled_in_range(const struct scaled_field *field, uint64_t value)
{
    return value >= field->least && value <= field->most && (value <= FINEST_MOST || value % field->unit[1] == 0);
}

static unsigned largest_unit(const struct scaled_field *field, uint32_t value)
{
    unsigned unit = UNIT_COUNT - 1;
    while (value % field->unit[unit] != 0) {
        unit--; /* ends at unit 0, which is 1 */
    }
    return unit;
}

static bool plain_in_range(const struct plain_field *field, uint32_t value)
{
    return value >= field->least && value <= field->most;
}

static bool utc_offset_in_range(int quarter_hours)
{
    return quarter_hours >= -48 && quarter_hours <= 56;
}

static bool same_target(const struct draught_target *a, const struct draught_target *b)
{
    return a->kept == b->kept && a->value == b->value;
}

static const struct draught_settings DEFAULTS = {
    .late_tolerance_ms = 60000,
    .outage = DRAUGHT_KEEP_STOP_TIME,
    .resume_within_ms = 600000,
    .fault = DRAUGHT_FAULT_STOP,
    .flow_deviation_percent = 10,
    .flow_deviation_time_ms = 60000,
};

static bool setting_is_default(const struct draught_settings *s, unsigned tag)
{
    switch (tag) {
    case SETTING_NAME:
        return s->name[0] == '\0';
    case SETTING_START_BY:
        return !s->has_start_by;
    case SETTING_LATE_TOLERANCE:
        return s->late_tolerance_ms == DEFAULTS.late_tolerance_ms;
    case SETTING_OUTAGE:
        return s->outage == DEFAULTS.outage && s->resume_within_ms == DEFAULTS.resume_within_ms
            && s->while_charging == DEFAULTS.while_charging;
    case SETTING_FAULT:
        return s->fault == DEFAULTS.fault;
    default: /* SETTING_LIMITS */
        return s->flow_deviation_percent == DEFAULTS.flow_deviation_percent
            && s->flow_deviation_time_ms == DEFAULTS.flow_deviation_time_ms
            && s->pressure_at_most_pa == DEFAULTS.pressure_at_most_pa;
    }
}

/* The whole text is looked at before a control character is blamed: that it is no UTF-8 comes first. */
static enum draught_refusal_code judge_name(const uint8_t *text, size_t length_bytes)
{
    bool control = false;
    size_t at = 0;
    while (at < length_bytes) {
        const uint8_t lead = text[at++];
        uint32_t point, least; /* the code point, and the least that needs so many bytes */
        size_t more;           /* continuation bytes */
        if (lead < 0x80) {
            point = lead, least = 0, more = 0;
        } else if ((lead & 0xE0) == 0xC0) {
            point = lead & 0x1F, least = 0x80, more = 1;
        } else if ((lead & 0xF0) == 0xE0) {
            point = lead & 0x0F, least = 0x800, more = 2;
        } else if ((lead & 0xF8) == 0xF0) {
            point = lead & 0x07, least = 0x10000, more = 3;
        } else {
            return DRAUGHT_NAME_NOT_UTF8;
        }
        if (length_bytes - at < more) {
            return DRAUGHT_NAME_NOT_UTF8;
        }
        for (; more > 0; more--) {
            const uint8_t next = text[at++];
            if ((next & 0xC0) != 0x80) {
                return DRAUGHT_NAME_NOT_UTF8;
            }
            point = point << 6 | (next & 0x3F);
        }
        if (point < least || point > 0x10FFFF || (point >= 0xD800 && point <= 0xDFFF)) {
            return DRAUGHT_NAME_NOT_UTF8;
        }
        control = control || point <= 0x1F || (point >= 0x7F && point <= 0x9F);
    }
    return control ? DRAUGHT_NAME_CONTROL : DRAUGHT_ACCEPTED;
}

/* Bit by bit: small, and a block is read seldom. */
static uint32_t crc32c(const uint8_t *bytes, size_t length)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (size_t at = 0; at < length; at++) {
        crc ^= bytes[at];
        for (int bit = 0; bit < 8; bit++) {
            crc = (crc & 1u) != 0 ? crc >> 1 ^ 0x82F63B78u : crc >> 1; /* 0x1EDC6F41 with its bits reversed */
        }
    }
    return crc ^ 0xFFFFFFFFu;
}

/* ---- Reading ----
 *
 * Each function reads one field, or one after the other, and says whether all were good. The first that is not ends
 * the chain of `&&`, so a field is judged completely before the next is looked at, and the first refusal stays. */

struct reader {
    const uint8_t *bytes;
    size_t end;      /* where the CRC begins */
    size_t at;       /* the next byte to read */
    size_t field_at; /* where the field in hand begins */
    unsigned step;   /* the step in hand, 0 outside the steps */
    struct draught_refusal *refusal;
};

static bool refuse_at(struct reader *r, enum draught_refusal_code code, size_t at)
{
    r->refusal->code = code;
    r->refusal->at_byte = at;
    r->refusal->step = r->step;
    return false;
}

static bool refuse(struct reader *r, enum draught_refusal_code code)
{
    return refuse_at(r, code, r->field_at);
}

static bool read_raw_byte(struct reader *r, uint8_t *byte)
{
    r->field_at = r->at;
    if (r->at == r->end) {
        return refuse(r, DRAUGHT_ENDS_EARLY);
    }
    *byte = r->bytes[r->at++];
    return true;
}

static bool read_byte(struct reader *r, const struct plain_field *field, uint8_t *value)
{
    return read_raw_byte(r, value) && (plain_in_range(field, *value) || refuse(r, DRAUGHT_OUT_OF_RANGE));
}

static bool read_choice(struct reader *r, unsigned choices, uint8_t *choice)
{
    return read_raw_byte(r, choice) && (*choice < choices || refuse(r, DRAUGHT_UNKNOWN_TAG));
}

static bool read_flag(struct reader *r, bool *flag)
{
    uint8_t choice;
    if (!read_choice(r, FLAGS, &choice)) {
        return false;
    }
    *flag = choice == 1;
    return true;
}

/* Ends with the fifth byte at the latest: with its top bit set it is larger than 0x0F. */
static bool read_number(struct reader *r, uint32_t most, uint32_t *number)
{
    r->field_at = r->at;
    *number = 0;
    for (unsigned shift = 0;; shift += 7) {
        if (r->at == r->end) {
            return refuse(r, DRAUGHT_ENDS_EARLY);
        }
        const uint8_t byte = r->bytes[r->at++];
        if (shift == 28 && byte > 0x0F) {
            return refuse(r, DRAUGHT_NUMBER_TOO_LARGE);
        }
        *number |= (uint32_t)(byte & 0x7F) << shift;
        if (byte < 0x80) {
            if (byte == 0 && shift > 0) {
                return refuse(r, DRAUGHT_OVER_LONG);
            }
            return *number <= most || refuse(r, DRAUGHT_NUMBER_TOO_LARGE);
        }
    }
}

static bool read_short(struct reader *r, const struct plain_field *field, uint16_t *value)
{
    uint32_t number;
    if (!read_number(r, UINT16_MAX, &number)) {
        return false;
    }
    *value = (uint16_t)number;
    return plain_in_range(field, number) || refuse(r, DRAUGHT_OUT_OF_RANGE);
}

static bool read_scaled(struct reader *r, const struct scaled_field *field, uint32_t *value)
{
    uint32_t number;
    if (!read_number(r, UINT32_MAX, &number)) {
        return false;
    }
    const unsigned unit = number % UNIT_COUNT;
    const uint64_t product = (uint64_t)(number / UNIT_COUNT) * field->unit[unit];
    if (!scaled_in_range(field, product)) {
        return refuse(r, DRAUGHT_OUT_OF_RANGE);
    }
    *value = (uint32_t)product;
    return unit == largest_unit(field, *value) || refuse(r, DRAUGHT_SCALE_NOT_LARGEST);
}

static bool read_target(struct reader *r, struct draught_target *target)
{
    return read_choice(r, KEPT, &target->kept)
        && read_scaled(r, target->kept == DRAUGHT_FLOW ? &FLOW_UL_PER_MIN : &PRESSURE_PA, &target->value);
}

static bool read_name(struct reader *r, char name[DRAUGHT_NAME_BYTES_MAX + 1])
{
    uint32_t length_bytes;
    if (!read_number(r, UINT32_MAX, &length_bytes)) {
        return false;
    }
    if (length_bytes > DRAUGHT_NAME_BYTES_MAX) {
        return refuse(r, DRAUGHT_NAME_TOO_LONG);
    }
    r->field_at = r->at;
    if (r->end - r->at < length_bytes) {
        return refuse(r, DRAUGHT_ENDS_EARLY);
    }
    const enum draught_refusal_code fault = judge_name(r->bytes + r->at, length_bytes);
    if (fault != DRAUGHT_ACCEPTED) {
        return refuse(r, fault);
    }
    uint8_t *text = (uint8_t *)name;
    while (length_bytes-- > 0) {
        *text++ = r->bytes[r->at++];
    }
    *text = '\0';
    return true;
}

static bool read_setting(struct reader *r, unsigned tag, struct draught_settings *s)
{
    bool has_pressure_limit;
    switch (tag) {
    case SETTING_NAME:
        return read_name(r, s->name);
    case SETTING_START_BY:
        s->has_start_by = true;
        return read_short(r, &DAY, &s->start_by_day) && read_scaled(r, &TIME_OF_DAY_MS, &s->start_by_time_of_day_ms);
    case SETTING_LATE_TOLERANCE:
        return read_scaled(r, &LATE_TOLERANCE_MS, &s->late_tolerance_ms);
    case SETTING_OUTAGE:
        return read_choice(r, OUTAGES, &s->outage)
            && (s->outage == DRAUGHT_ABANDON
                || (read_scaled(r, &RESUME_WITHIN_MS, &s->resume_within_ms) && read_flag(r, &s->while_charging)));
    case SETTING_FAULT:
        return read_choice(r, FAULTS, &s->fault)
            && (s->fault != DRAUGHT_FAULT_RETRY
                || (read_scaled(r, &RETRY_EVERY_MS, &s->retry_every_ms)
                    && read_byte(r, &RETRY_TIMES, &s->retry_times)));
    default: /* SETTING_LIMITS */
        return read_byte(r, &FLOW_DEVIATION_PERCENT, &s->flow_deviation_percent)
            && read_scaled(r, &FLOW_DEVIATION_TIME_MS, &s->flow_deviation_time_ms) && read_flag(r, &has_pressure_limit)
            && (!has_pressure_limit || read_scaled(r, &PRESSURE_PA, &s->pressure_at_most_pa));
    }
}

static bool read_settings(struct reader *r, struct draught_settings *settings)
{
    uint32_t count;
    uint8_t tag, tag_before = 0;
    *settings = DEFAULTS;
    if (!read_number(r, UINT32_MAX, &count)) {
        return false;
    }
    /* However large the count, the order ends this after as many entries as there are tags. */
    for (uint32_t entry = 0; entry < count; entry++) {
        const size_t tag_at = r->at;
        if (!read_choice(r, SETTINGS, &tag)) {
            return false;
        }
        if (entry > 0 && tag <= tag_before) {
            return refuse(r, tag == tag_before ? DRAUGHT_SETTING_TWICE : DRAUGHT_SETTING_ORDER);
        }
        if (!read_setting(r, tag, settings)) {
            return false;
        }
        if (setting_is_default(settings, tag)) {
            return refuse_at(r, DRAUGHT_SETTING_DEFAULT, tag_at);
        }
        tag_before = tag;
    }
    return true;
}

static bool read_step_fields(struct reader *r, struct draught_step *step)
{
    switch (step->kind) {
    case DRAUGHT_WAIT_FOR_DATE:
        return read_short(r, &DAY, &step->as.wait_for_date.day);
    case DRAUGHT_WAIT_FOR_TIME:
        return read_scaled(r, &TIME_OF_DAY_MS, &step->as.wait_for_time.time_of_day_ms);
    case DRAUGHT_WAIT_FOR_WEEKDAY:
        return read_byte(r, &WEEKDAY_BITS, &step->as.wait_for_weekday.bits);
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        return read_short(r, &DAY, &step->as.wait_for_cycle_day.from_day)
            && read_short(r, &EVERY_DAYS, &step->as.wait_for_cycle_day.every_days);
    case DRAUGHT_RUN_FOR:
        return read_scaled(r, &DURATION_MS, &step->as.run_for.duration_ms);
    case DRAUGHT_RUN_UNTIL:
        return read_scaled(r, &TIME_OF_DAY_MS, &step->as.run_until.time_of_day_ms)
            && read_scaled(r, &DURATION_MS, &step->as.run_until.at_most_ms);
    case DRAUGHT_DRAW_VOLUME:
        return read_scaled(r, &VOLUME_ML, &step->as.draw_volume.volume_ml)
            && read_scaled(r, &DURATION_MS, &step->as.draw_volume.at_most_ms);
    case DRAUGHT_HOLD:
        return read_scaled(r, &DURATION_MS, &step->as.hold.duration_ms);
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        return read_scaled(r, &DURATION_MS, &step->as.hold_until_resumed.at_most_ms)
            && read_choice(r, THENS, &step->as.hold_until_resumed.then);
    case DRAUGHT_REPEAT:
        return read_byte(r, &STEP_NUMBER, &step->as.repeat.from_step)
            && read_short(r, &PASSES, &step->as.repeat.passes) && read_choice(r, SAMPLERS, &step->as.repeat.sampler);
    default: /* DRAUGHT_FINISH */
        return true;
    }
}

static bool read_step(struct reader *r, const struct draught_target *schedule_target, struct draught_step *step)
{
    uint8_t tag;
    if (!read_choice(r, STEP_TAG_COUNT, &tag)) {
        return false;
    }
    step->kind = STEP_TAGS[tag].kind;
    step->has_own_target = STEP_TAGS[tag].own_target;
    if (!read_step_fields(r, step)) {
        return false;
    }
    if (!step->has_own_target) {
        return true;
    }
    const size_t choice_at = r->at;
    return read_target(r, &step->own_target)
        && (!same_target(&step->own_target, schedule_target) || refuse_at(r, DRAUGHT_OWN_TARGET_SAME, choice_at));
}

/* Without a place to put them, `steps` is NULL: the steps are judged and passed over. */
static bool read_steps(struct reader *r, const struct draught_target *schedule_target, unsigned count,
                       struct draught_step *steps)
{
    struct draught_step passed_over;
    for (unsigned index = 0; index < count; index++) {
        r->step = index + 1;
        if (!read_step(r, schedule_target, steps != NULL ? &steps[index] : &passed_over)) {
            return false;
        }
    }
    r->step = 0;
    return true;
}

/* What holds for every version: length, CRC, magic and version. */
static bool read_envelope(struct reader *r, size_t length_bytes)
{
    if (length_bytes < SHORTEST_ENVELOPE_BYTES) {
        return refuse_at(r, DRAUGHT_TOO_SHORT, length_bytes);
    }
    r->end = length_bytes - CRC_BYTES;
    const uint32_t crc = crc32c(r->bytes, r->end);
    for (unsigned byte = 0; byte < CRC_BYTES; byte++) {
        if (r->bytes[r->end + byte] != (crc >> 8 * byte & 0xFF)) {
            return refuse_at(r, DRAUGHT_CRC, r->end);
        }
    }
    uint8_t magic, version;
    return read_raw_byte(r, &magic) && (magic == MAGIC || refuse(r, DRAUGHT_BAD_MAGIC)) && read_raw_byte(r, &version)
        && (version == VERSION || refuse(r, version < VERSION ? DRAUGHT_BAD_VERSION : DRAUGHT_NEWER_FORMAT));
}

static bool read_utc_offset(struct reader *r, int8_t *quarter_hours)
{
    uint8_t byte;
    if (!read_raw_byte(r, &byte)) {
        return false;
    }
    const int value = byte < 0x80 ? byte : byte - 0x100;
    *quarter_hours = (int8_t)value;
    return utc_offset_in_range(value) || refuse(r, DRAUGHT_OUT_OF_RANGE);
}

static bool read_step_count(struct reader *r, size_t capacity_steps, uint8_t *count)
{
    uint32_t number;
    if (!read_number(r, UINT32_MAX, &number)) {
        return false;
    }
    if (number > capacity_steps || number > DRAUGHT_STEPS_MAX) {
        return refuse(r, DRAUGHT_TOO_MANY_STEPS);
    }
    *count = (uint8_t)number;
    return true;
}

static enum draught_refusal_code judge_table(const struct draught_step *steps, unsigned count, unsigned *step_named);

bool draught_read(const uint8_t *block, size_t length_bytes, size_t capacity_steps, struct draught_schedule *schedule,
                  struct draught_refusal *refusal)
{
    struct reader reader = { .bytes = block, .refusal = refusal };
    struct reader *const r = &reader;
    int8_t utc_offset_quarter_hours;
    struct draught_target target;
    struct draught_settings settings;
    uint8_t step_count = 0;

    *refusal = (struct draught_refusal){ .code = DRAUGHT_ACCEPTED };
    if (!read_envelope(r, length_bytes) || !read_utc_offset(r, &utc_offset_quarter_hours) || !read_target(r, &target)
        || !read_settings(r, &settings) || !read_step_count(r, capacity_steps, &step_count)) {
        return false;
    }
    /* The steps are read twice: so *schedule changes only when all bytes are good, and no second one is needed. */
    const struct reader at_first_step = reader;
    if (!read_steps(r, &target, step_count, NULL)) {
        return false;
    }
    if (r->at != r->end) {
        return refuse_at(r, DRAUGHT_TRAILING_BYTES, r->at);
    }
    schedule->utc_offset_quarter_hours = utc_offset_quarter_hours;
    schedule->target = target;
    schedule->settings = settings;
    schedule->step_count = step_count;
    reader = at_first_step;
    (void)read_steps(r, &target, step_count, schedule->steps);

    unsigned step_named;
    const enum draught_refusal_code broken_rule = judge_table(schedule->steps, step_count, &step_named);
    if (broken_rule == DRAUGHT_ACCEPTED) {
        return true;
    }
    schedule->step_count = 0;
    reader = at_first_step;
    (void)read_steps(r, &target, step_named - 1, NULL); /* to where the step named begins */
    r->step = step_named;
    return refuse_at(r, broken_rule, r->at);
}

/* ---- Table rules. Steps are called by their numbers, from 1. ---- */

static const struct draught_step *step_at(const struct draught_step *steps, unsigned number)
{
    return &steps[number - 1];
}

static bool is_wait(const struct draught_step *step)
{
    return step->kind >= DRAUGHT_WAIT_FOR_DATE && step->kind <= DRAUGHT_WAIT_FOR_CYCLE_DAY;
}

/* The first of the consecutive waits that lead up to this step; the step itself if there are none. */
static unsigned first_of_waits(const struct draught_step *steps, unsigned number)
{
    while (number > 1 && is_wait(step_at(steps, number - 1))) {
        number--;
    }
    return number;
}

static bool day_is_weekday(uint32_t day, unsigned weekday_bits)
{
    const unsigned weekday = (unsigned)((day + 5) % 7); /* 2000-01-01 is a Saturday; Monday is 0 */
    return (weekday_bits >> weekday & 1u) != 0;
}

/* Each of the waits may be NULL: not in the group. */
static bool some_day_fits(const struct draught_step *date, const struct draught_step *weekdays,
                          const struct draught_step *cycle)
{
    const unsigned bits = weekdays != NULL ? weekdays->as.wait_for_weekday.bits : WEEKDAY_BITS.most;
    const uint32_t from_day = cycle != NULL ? cycle->as.wait_for_cycle_day.from_day : 0;
    const uint32_t every_days = cycle != NULL ? cycle->as.wait_for_cycle_day.every_days : 1;
    if (date != NULL) {
        const uint32_t day = date->as.wait_for_date.day;
        return day_is_weekday(day, bits) && day >= from_day && (day - from_day) % every_days == 0;
    }
    /* After seven of its days a cycle is back at its first weekday: a later one fits only if one of these does. */
    for (uint32_t nth = 0; nth < 7; nth++) {
        const uint32_t day = from_day + nth * every_days;
        if (day <= DAY_LAST && day_is_weekday(day, bits)) {
            return true;
        }
    }
    return false;
}

static enum draught_refusal_code judge_wait(const struct draught_step *steps, unsigned number)
{
    const struct draught_step *of_kind[DRAUGHT_WAIT_FOR_CYCLE_DAY + 1] = { NULL };
    for (unsigned wait = first_of_waits(steps, number); wait <= number; wait++) {
        const struct draught_step *step = step_at(steps, wait);
        if (of_kind[step->kind] != NULL) {
            return DRAUGHT_SAME_WAIT_TWICE;
        }
        of_kind[step->kind] = step;
    }
    return some_day_fits(of_kind[DRAUGHT_WAIT_FOR_DATE], of_kind[DRAUGHT_WAIT_FOR_WEEKDAY],
                         of_kind[DRAUGHT_WAIT_FOR_CYCLE_DAY])
        ? DRAUGHT_ACCEPTED
        : DRAUGHT_NEVER_MET;
}

/* How deep the repeats of this body lie in each other, and what their passes come to. Walks the body backwards, since a
 * repeat stands after its own body, and keeps those around the step in hand. That none cross is known by now. */
static enum draught_refusal_code judge_nesting(const struct draught_step *steps, unsigned number)
{
    struct { unsigned from; uint32_t passes; } around[NESTING_MAX];
    unsigned depth = 1;
    bool too_many_passes = false;
    around[0].from = step_at(steps, number)->as.repeat.from_step;
    around[0].passes = step_at(steps, number)->as.repeat.passes;
    for (unsigned inner = number - 1; inner >= around[0].from; inner--) {
        while (around[depth - 1].from > inner) {
            depth--; /* not below 1: the outermost holds every step here */
        }
        const struct draught_step *step = step_at(steps, inner);
        if (step->kind != DRAUGHT_REPEAT) {
            continue;
        }
        if (depth == NESTING_MAX) {
            return DRAUGHT_TOO_DEEP;
        }
        uint32_t passes = around[depth - 1].passes * step->as.repeat.passes; /* 65,536 * 65,535 fits 32 bits */
        if (passes > NESTED_PASSES_MOST) {
            too_many_passes = true; /* not refused yet: too deep would come first */
            passes = NESTED_PASSES_MOST;
        }
        around[depth].from = step->as.repeat.from_step;
        around[depth].passes = passes;
        depth++;
    }
    return too_many_passes ? DRAUGHT_TOO_MANY_PASSES : DRAUGHT_ACCEPTED;
}

static enum draught_refusal_code judge_repeat(const struct draught_step *steps, unsigned number)
{
    const unsigned from = step_at(steps, number)->as.repeat.from_step;
    bool date_in_body = false;
    if (from >= number) {
        return DRAUGHT_REPEAT_FORWARD;
    }
    for (unsigned inner = from; inner < number; inner++) {
        const struct draught_step *step = step_at(steps, inner);
        if (step->kind == DRAUGHT_REPEAT && step->as.repeat.from_step < from) {
            return DRAUGHT_REPEAT_CROSSES;
        }
        date_in_body = date_in_body || step->kind == DRAUGHT_WAIT_FOR_DATE;
    }
    const enum draught_refusal_code nesting = judge_nesting(steps, number);
    if (nesting != DRAUGHT_ACCEPTED) {
        return nesting;
    }
    if (is_wait(step_at(steps, from))) {
        for (unsigned left_out = first_of_waits(steps, from); left_out < from; left_out++) {
            if (step_at(steps, left_out)->kind != DRAUGHT_WAIT_FOR_DATE) {
                return DRAUGHT_ENTERS_WAITS;
            }
        }
    }
    return date_in_body ? DRAUGHT_DATE_REPEATS : DRAUGHT_ACCEPTED;
}

static enum draught_refusal_code judge_table(const struct draught_step *steps, unsigned count, unsigned *step_named)
{
    *step_named = 1;
    for (unsigned number = 1; number <= count; number++) {
        const struct draught_step *step = step_at(steps, number);
        enum draught_refusal_code code = DRAUGHT_ACCEPTED;
        *step_named = number;
        if (number > 1 && step_at(steps, number - 1)->kind == DRAUGHT_FINISH) {
            code = DRAUGHT_AFTER_FINISH;
        } else if (is_wait(step)) {
            code = judge_wait(steps, number);
        } else if (step->kind == DRAUGHT_REPEAT) {
            code = judge_repeat(steps, number);
        }
        if (code != DRAUGHT_ACCEPTED) {
            return code;
        }
    }
    return count > 0 && step_at(steps, count)->kind == DRAUGHT_FINISH ? DRAUGHT_ACCEPTED : DRAUGHT_NO_FINISH;
}

/* ---- Writing. Each function says whether its value is legal and had room. ---- */

struct writer {
    uint8_t *bytes;
    size_t room, length;
};

static bool write_raw_byte(struct writer *w, uint32_t byte)
{
    if (w->length == w->room) {
        return false;
    }
    w->bytes[w->length++] = (uint8_t)byte;
    return true;
}

static bool write_byte(struct writer *w, const struct plain_field *field, uint8_t value)
{
    return plain_in_range(field, value) && write_raw_byte(w, value);
}

static bool write_choice(struct writer *w, unsigned choices, uint8_t choice)
{
    return choice < choices && write_raw_byte(w, choice);
}

static bool write_number(struct writer *w, uint32_t number)
{
    for (; number >= 0x80; number >>= 7) {
        if (!write_raw_byte(w, (number & 0x7F) | 0x80)) {
            return false;
        }
    }
    return write_raw_byte(w, number);
}

static bool write_short(struct writer *w, const struct plain_field *field, uint16_t value)
{
    return plain_in_range(field, value) && write_number(w, value);
}

static bool write_scaled(struct writer *w, const struct scaled_field *field, uint32_t value)
{
    const unsigned unit = largest_unit(field, value);
    return scaled_in_range(field, value) && write_number(w, value / field->unit[unit] * UNIT_COUNT + unit);
}

static bool write_target(struct writer *w, const struct draught_target *target)
{
    return write_choice(w, KEPT, target->kept)
        && write_scaled(w, target->kept == DRAUGHT_FLOW ? &FLOW_UL_PER_MIN : &PRESSURE_PA, target->value);
}

static bool write_name(struct writer *w, const char name[DRAUGHT_NAME_BYTES_MAX + 1])
{
    uint32_t length_bytes = 0;
    while (length_bytes <= DRAUGHT_NAME_BYTES_MAX && name[length_bytes] != '\0') {
        length_bytes++;
    }
    bool written = length_bytes <= DRAUGHT_NAME_BYTES_MAX
        && judge_name((const uint8_t *)name, length_bytes) == DRAUGHT_ACCEPTED && write_number(w, length_bytes);
    for (uint32_t index = 0; written && index < length_bytes; index++) {
        written = write_raw_byte(w, (uint8_t)name[index]);
    }
    return written;
}

static bool write_setting(struct writer *w, unsigned tag, const struct draught_settings *s)
{
    switch (tag) {
    case SETTING_NAME:
        return write_name(w, s->name);
    case SETTING_START_BY:
        return write_short(w, &DAY, s->start_by_day) && write_scaled(w, &TIME_OF_DAY_MS, s->start_by_time_of_day_ms);
    case SETTING_LATE_TOLERANCE:
        return write_scaled(w, &LATE_TOLERANCE_MS, s->late_tolerance_ms);
    case SETTING_OUTAGE:
        return write_choice(w, OUTAGES, s->outage)
            && (s->outage == DRAUGHT_ABANDON
                || (write_scaled(w, &RESUME_WITHIN_MS, s->resume_within_ms)
                    && write_choice(w, FLAGS, s->while_charging)));
    case SETTING_FAULT:
        return write_choice(w, FAULTS, s->fault)
            && (s->fault != DRAUGHT_FAULT_RETRY
                || (write_scaled(w, &RETRY_EVERY_MS, s->retry_every_ms)
                    && write_byte(w, &RETRY_TIMES, s->retry_times)));
    default: /* SETTING_LIMITS */
        return write_byte(w, &FLOW_DEVIATION_PERCENT, s->flow_deviation_percent)
            && write_scaled(w, &FLOW_DEVIATION_TIME_MS, s->flow_deviation_time_ms)
            && write_choice(w, FLAGS, s->pressure_at_most_pa != 0)
            && (s->pressure_at_most_pa == 0 || write_scaled(w, &PRESSURE_PA, s->pressure_at_most_pa));
    }
}

static bool write_settings(struct writer *w, const struct draught_settings *settings)
{
    uint32_t count = 0;
    for (unsigned tag = 0; tag < SETTINGS; tag++) {
        count += setting_is_default(settings, tag) ? 0 : 1;
    }
    bool written = write_number(w, count);
    for (unsigned tag = 0; written && tag < SETTINGS; tag++) {
        written = setting_is_default(settings, tag) || (write_raw_byte(w, tag) && write_setting(w, tag, settings));
    }
    return written;
}

static bool write_step_fields(struct writer *w, const struct draught_step *step)
{
    switch (step->kind) {
    case DRAUGHT_WAIT_FOR_DATE:
        return write_short(w, &DAY, step->as.wait_for_date.day);
    case DRAUGHT_WAIT_FOR_TIME:
        return write_scaled(w, &TIME_OF_DAY_MS, step->as.wait_for_time.time_of_day_ms);
    case DRAUGHT_WAIT_FOR_WEEKDAY:
        return write_byte(w, &WEEKDAY_BITS, step->as.wait_for_weekday.bits);
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        return write_short(w, &DAY, step->as.wait_for_cycle_day.from_day)
            && write_short(w, &EVERY_DAYS, step->as.wait_for_cycle_day.every_days);
    case DRAUGHT_RUN_FOR:
        return write_scaled(w, &DURATION_MS, step->as.run_for.duration_ms);
    case DRAUGHT_RUN_UNTIL:
        return write_scaled(w, &TIME_OF_DAY_MS, step->as.run_until.time_of_day_ms)
            && write_scaled(w, &DURATION_MS, step->as.run_until.at_most_ms);
    case DRAUGHT_DRAW_VOLUME:
        return write_scaled(w, &VOLUME_ML, step->as.draw_volume.volume_ml)
            && write_scaled(w, &DURATION_MS, step->as.draw_volume.at_most_ms);
    case DRAUGHT_HOLD:
        return write_scaled(w, &DURATION_MS, step->as.hold.duration_ms);
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        return write_scaled(w, &DURATION_MS, step->as.hold_until_resumed.at_most_ms)
            && write_choice(w, THENS, step->as.hold_until_resumed.then);
    case DRAUGHT_REPEAT:
        return write_byte(w, &STEP_NUMBER, step->as.repeat.from_step)
            && write_short(w, &PASSES, step->as.repeat.passes) && write_choice(w, SAMPLERS, step->as.repeat.sampler);
    default: /* DRAUGHT_FINISH */
        return true;
    }
}

static bool write_step(struct writer *w, const struct draught_target *schedule_target, const struct draught_step *step)
{
    /* One schedule has one block: an own target that changes nothing is not written. */
    const bool own_target = step->has_own_target && !same_target(&step->own_target, schedule_target);
    uint8_t tag = 0;
    while (tag < STEP_TAG_COUNT && (STEP_TAGS[tag].kind != step->kind || STEP_TAGS[tag].own_target != own_target)) {
        tag++;
    }
    return write_choice(w, STEP_TAG_COUNT, tag) && write_step_fields(w, step)
        && (!own_target || write_target(w, &step->own_target));
}

static bool write_steps(struct writer *w, const struct draught_schedule *schedule)
{
    const unsigned count = schedule->step_count;
    if (count > DRAUGHT_STEPS_MAX) {
        return false;
    }
    bool written = write_number(w, count);
    for (unsigned index = 0; written && index < count; index++) {
        written = write_step(w, &schedule->target, &schedule->steps[index]);
    }
    /* Last, as in reading: the rules rely on fields that are in their ranges. */
    unsigned step_named;
    return written && judge_table(schedule->steps, count, &step_named) == DRAUGHT_ACCEPTED;
}

static bool write_crc(struct writer *w)
{
    const uint32_t crc = crc32c(w->bytes, w->length);
    return write_raw_byte(w, crc & 0xFF) && write_raw_byte(w, crc >> 8 & 0xFF) && write_raw_byte(w, crc >> 16 & 0xFF)
        && write_raw_byte(w, crc >> 24);
}

size_t draught_write(const struct draught_schedule *schedule, uint8_t *block, size_t room_bytes)
{
    struct writer writer = { .bytes = block, .room = room_bytes };
    struct writer *const w = &writer;
    const bool written = write_raw_byte(w, MAGIC) && write_raw_byte(w, VERSION)
        && utc_offset_in_range(schedule->utc_offset_quarter_hours)
        && write_raw_byte(w, (uint8_t)schedule->utc_offset_quarter_hours) && write_target(w, &schedule->target)
        && write_settings(w, &schedule->settings) && write_steps(w, schedule) && write_crc(w);
    return written ? w->length : 0;
}

const char *draught_refusal_name(enum draught_refusal_code code)
{
    static const char *const NAMES[] = {
        [DRAUGHT_ACCEPTED] = "accepted",
        [DRAUGHT_TOO_SHORT] = "too-short",
        [DRAUGHT_CRC] = "crc",
        [DRAUGHT_BAD_MAGIC] = "bad-magic",
        [DRAUGHT_BAD_VERSION] = "bad-version",
        [DRAUGHT_NEWER_FORMAT] = "newer-format",
        [DRAUGHT_ENDS_EARLY] = "ends-early",
        [DRAUGHT_OVER_LONG] = "over-long",
        [DRAUGHT_NUMBER_TOO_LARGE] = "number-too-large",
        [DRAUGHT_UNKNOWN_TAG] = "unknown-tag",
        [DRAUGHT_OUT_OF_RANGE] = "out-of-range",
        [DRAUGHT_SCALE_NOT_LARGEST] = "scale-not-largest",
        [DRAUGHT_SETTING_TWICE] = "setting-twice",
        [DRAUGHT_SETTING_ORDER] = "setting-order",
        [DRAUGHT_SETTING_DEFAULT] = "setting-default",
        [DRAUGHT_NAME_TOO_LONG] = "name-too-long",
        [DRAUGHT_NAME_NOT_UTF8] = "name-not-utf8",
        [DRAUGHT_NAME_CONTROL] = "name-control",
        [DRAUGHT_TOO_MANY_STEPS] = "too-many-steps",
        [DRAUGHT_OWN_TARGET_SAME] = "own-target-same",
        [DRAUGHT_TRAILING_BYTES] = "trailing-bytes",
        [DRAUGHT_AFTER_FINISH] = "after-finish",
        [DRAUGHT_SAME_WAIT_TWICE] = "same-wait-twice",
        [DRAUGHT_NEVER_MET] = "never-met",
        [DRAUGHT_REPEAT_FORWARD] = "repeat-forward",
        [DRAUGHT_REPEAT_CROSSES] = "repeat-crosses",
        [DRAUGHT_TOO_DEEP] = "too-deep",
        [DRAUGHT_TOO_MANY_PASSES] = "too-many-passes",
        [DRAUGHT_ENTERS_WAITS] = "enters-waits",
        [DRAUGHT_DATE_REPEATS] = "date-repeats",
        [DRAUGHT_NO_FINISH] = "no-finish",
    };
    const size_t index = (size_t)code;
    return index < sizeof NAMES / sizeof NAMES[0] ? NAMES[index] : "unknown";
}
