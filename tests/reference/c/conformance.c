/* Speaks the line protocol of tests/reference/README.md: cases on standard input, answers on standard output. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draught_block.h"

/* A damaged block can be a little longer than the longest good one. */
#define BLOCK_ROOM (2 * DRAUGHT_BLOCK_BYTES_MAX)
/* A line holds a block as digits, or a schedule of 255 steps in words. */
#define LINE_ROOM (32 * 1024)

/* The words of a VALUE, in order. */
struct words {
    char *rest;
};

static const char *const OUTAGES[] = {"keep-stop-time", "make-up-time", "abandon"};
static const char *const FAULTS[] = {"stop", "retry", "close"};
static const char *const KEPT[] = {"flow", "pressure"};
static const char *const THENS[] = {"continue", "close"};
static const char *const SAMPLERS[] = {"same", "fresh", "fresh-confirmed"};
static const char *const KINDS[] = {"finish", "date",        "time", "weekday",            "cycle", "run-for", "run-until",
                                    "draw-volume", "hold", "hold-until-resumed", "repeat"};

#define COUNT(list) ((unsigned)(sizeof(list) / sizeof((list)[0])))

static int digit(char c)
{
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    return -1;
}

/* Bytes from pairs of digits; false if they are none, or too many. `-` is no byte at all. */
static bool from_hex(const char *text, uint8_t *bytes, size_t room, size_t *count)
{
    *count = 0;
    if (strcmp(text, "-") == 0) return true;
    for (; text[0] != '\0'; text += 2) {
        int high = digit(text[0]);
        int low = high < 0 ? -1 : digit(text[1]);
        if (low < 0 || *count == room) return false;
        bytes[(*count)++] = (uint8_t)(high * 16 + low);
    }
    return true;
}

static void print_hex(const uint8_t *bytes, size_t count)
{
    size_t i;
    for (i = 0; i < count; i++) printf("%02x", (unsigned)bytes[i]);
}

/* ---- a schedule as words ---- */

static void print_target(const struct draught_target *target)
{
    printf("%s:%lu", KEPT[target->kept], (unsigned long)target->value);
}

static void print_settings(const struct draught_schedule *schedule)
{
    const struct draught_settings *s = &schedule->settings;
    printf("offset=%d target=", schedule->utc_offset_quarter_hours);
    print_target(&schedule->target);
    printf(" name=");
    if (s->name[0] == '\0') printf("-");
    print_hex((const uint8_t *)s->name, strlen(s->name));
    if (s->has_start_by) {
        printf(" start-by=%u:%lu", s->start_by_day, (unsigned long)s->start_by_time_of_day_ms);
    } else {
        printf(" start-by=-");
    }
    printf(" late=%lu outage=%s", (unsigned long)s->late_tolerance_ms, OUTAGES[s->outage]);
    if (s->outage != DRAUGHT_ABANDON) {
        printf(":%lu:%s", (unsigned long)s->resume_within_ms, s->while_charging ? "yes" : "no");
    }
    printf(" fault=%s", FAULTS[s->fault]);
    if (s->fault == DRAUGHT_FAULT_RETRY) printf(":%lu:%u", (unsigned long)s->retry_every_ms, s->retry_times);
    printf(" limits=%u:%lu:", s->flow_deviation_percent, (unsigned long)s->flow_deviation_time_ms);
    if (s->pressure_at_most_pa == 0) {
        printf("-");
    } else {
        printf("%lu", (unsigned long)s->pressure_at_most_pa);
    }
    printf(" steps=%u", schedule->step_count);
}

static void print_step(const struct draught_step *step)
{
    printf(" %s", KINDS[step->kind]);
    switch (step->kind) {
    case DRAUGHT_WAIT_FOR_DATE: printf(":%u", step->as.wait_for_date.day); break;
    case DRAUGHT_WAIT_FOR_TIME: printf(":%lu", (unsigned long)step->as.wait_for_time.time_of_day_ms); break;
    case DRAUGHT_WAIT_FOR_WEEKDAY: printf(":%u", step->as.wait_for_weekday.bits); break;
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        printf(":%u:%u", step->as.wait_for_cycle_day.from_day, step->as.wait_for_cycle_day.every_days);
        break;
    case DRAUGHT_RUN_FOR: printf(":%lu", (unsigned long)step->as.run_for.duration_ms); break;
    case DRAUGHT_RUN_UNTIL:
        printf(":%lu:%lu", (unsigned long)step->as.run_until.time_of_day_ms, (unsigned long)step->as.run_until.at_most_ms);
        break;
    case DRAUGHT_DRAW_VOLUME:
        printf(":%lu:%lu", (unsigned long)step->as.draw_volume.volume_ml, (unsigned long)step->as.draw_volume.at_most_ms);
        break;
    case DRAUGHT_HOLD: printf(":%lu", (unsigned long)step->as.hold.duration_ms); break;
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        printf(":%lu:%s", (unsigned long)step->as.hold_until_resumed.at_most_ms, THENS[step->as.hold_until_resumed.then]);
        break;
    case DRAUGHT_REPEAT:
        printf(":%u:%u:%s", step->as.repeat.from_step, step->as.repeat.passes, SAMPLERS[step->as.repeat.sampler]);
        break;
    default: break; /* finish */
    }
    if (step->has_own_target) {
        printf(":");
        print_target(&step->own_target);
    }
}

/* ---- words as a schedule ---- */

/* The text up to the next separator, which is cut off it; NULL when there is none left. */
static char *take(struct words *words, char separator)
{
    char *word = words->rest;
    char *end;
    if (word == NULL) return NULL;
    end = strchr(word, separator);
    words->rest = end == NULL ? NULL : end + 1;
    if (end != NULL) *end = '\0';
    return word;
}

static bool take_number(struct words *parts, unsigned long most, unsigned long *number)
{
    const char *word = take(parts, ':');
    char *end;
    if (word == NULL || digit(word[0]) < 0 || digit(word[0]) > 9) return false;
    *number = strtoul(word, &end, 10);
    return *end == '\0' && *number <= most;
}

static bool take_u32(struct words *parts, uint32_t *number)
{
    unsigned long value;
    if (!take_number(parts, UINT32_MAX, &value)) return false;
    *number = (uint32_t)value;
    return true;
}

static bool take_u16(struct words *parts, uint16_t *number)
{
    unsigned long value;
    if (!take_number(parts, UINT16_MAX, &value)) return false;
    *number = (uint16_t)value;
    return true;
}

static bool take_u8(struct words *parts, uint8_t *number)
{
    unsigned long value;
    if (!take_number(parts, UINT8_MAX, &value)) return false;
    *number = (uint8_t)value;
    return true;
}

static bool take_one_of(struct words *parts, const char *const *list, unsigned count, uint8_t *place)
{
    const char *word = take(parts, ':');
    unsigned i;
    for (i = 0; word != NULL && i < count; i++) {
        if (strcmp(word, list[i]) == 0) {
            *place = (uint8_t)i;
            return true;
        }
    }
    return false;
}

static bool take_flag(struct words *parts, bool *flag)
{
    static const char *const words[] = {"no", "yes"};
    uint8_t place;
    if (!take_one_of(parts, words, COUNT(words), &place)) return false;
    *flag = place == 1;
    return true;
}

static bool take_target(struct words *parts, struct draught_target *target)
{
    return take_one_of(parts, KEPT, COUNT(KEPT), &target->kept) && take_u32(parts, &target->value);
}

/* The value of the next field, which has this name. */
static bool field(struct words *words, const char *name, struct words *value)
{
    char *word = take(words, ' ');
    size_t length = strlen(name);
    if (word == NULL || strncmp(word, name, length) != 0 || word[length] != '=') return false;
    value->rest = word + length + 1;
    return true;
}

static bool take_settings(struct words *words, struct draught_schedule *schedule)
{
    struct draught_settings *s = &schedule->settings;
    struct words v;
    size_t length;
    long offset;
    char *end;

    if (!field(words, "offset", &v)) return false;
    offset = strtol(v.rest, &end, 10);
    if (*end != '\0' || offset < INT8_MIN || offset > INT8_MAX) return false;
    schedule->utc_offset_quarter_hours = (int8_t)offset;

    if (!field(words, "target", &v) || !take_target(&v, &schedule->target)) return false;

    if (!field(words, "name", &v)) return false;
    if (!from_hex(v.rest, (uint8_t *)s->name, DRAUGHT_NAME_BYTES_MAX, &length)) return false;
    s->name[length] = '\0';

    if (!field(words, "start-by", &v)) return false;
    s->has_start_by = strcmp(v.rest, "-") != 0;
    if (s->has_start_by && !(take_u16(&v, &s->start_by_day) && take_u32(&v, &s->start_by_time_of_day_ms))) return false;

    if (!field(words, "late", &v) || !take_u32(&v, &s->late_tolerance_ms)) return false;

    if (!field(words, "outage", &v) || !take_one_of(&v, OUTAGES, COUNT(OUTAGES), &s->outage)) return false;
    if (s->outage != DRAUGHT_ABANDON && !(take_u32(&v, &s->resume_within_ms) && take_flag(&v, &s->while_charging))) return false;

    if (!field(words, "fault", &v) || !take_one_of(&v, FAULTS, COUNT(FAULTS), &s->fault)) return false;
    if (s->fault == DRAUGHT_FAULT_RETRY && !(take_u32(&v, &s->retry_every_ms) && take_u8(&v, &s->retry_times))) return false;

    if (!field(words, "limits", &v)) return false;
    if (!take_u8(&v, &s->flow_deviation_percent) || !take_u32(&v, &s->flow_deviation_time_ms) || v.rest == NULL) return false;
    return strcmp(v.rest, "-") == 0 || take_u32(&v, &s->pressure_at_most_pa);
}

static bool take_step(struct words *words, struct draught_step *step)
{
    struct words v;
    bool good;
    v.rest = take(words, ' ');
    if (!take_one_of(&v, KINDS, COUNT(KINDS), &step->kind)) return false;
    switch (step->kind) {
    case DRAUGHT_FINISH: good = true; break;
    case DRAUGHT_WAIT_FOR_DATE: good = take_u16(&v, &step->as.wait_for_date.day); break;
    case DRAUGHT_WAIT_FOR_TIME: good = take_u32(&v, &step->as.wait_for_time.time_of_day_ms); break;
    case DRAUGHT_WAIT_FOR_WEEKDAY: good = take_u8(&v, &step->as.wait_for_weekday.bits); break;
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        good = take_u16(&v, &step->as.wait_for_cycle_day.from_day) && take_u16(&v, &step->as.wait_for_cycle_day.every_days);
        break;
    case DRAUGHT_RUN_FOR: good = take_u32(&v, &step->as.run_for.duration_ms); break;
    case DRAUGHT_RUN_UNTIL:
        good = take_u32(&v, &step->as.run_until.time_of_day_ms) && take_u32(&v, &step->as.run_until.at_most_ms);
        break;
    case DRAUGHT_DRAW_VOLUME:
        good = take_u32(&v, &step->as.draw_volume.volume_ml) && take_u32(&v, &step->as.draw_volume.at_most_ms);
        break;
    case DRAUGHT_HOLD: good = take_u32(&v, &step->as.hold.duration_ms); break;
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        good = take_u32(&v, &step->as.hold_until_resumed.at_most_ms) &&
               take_one_of(&v, THENS, COUNT(THENS), &step->as.hold_until_resumed.then);
        break;
    default: /* repeat: there is no other kind */
        good = take_u8(&v, &step->as.repeat.from_step) && take_u16(&v, &step->as.repeat.passes) &&
               take_one_of(&v, SAMPLERS, COUNT(SAMPLERS), &step->as.repeat.sampler);
        break;
    }
    step->has_own_target = good && v.rest != NULL;
    if (step->has_own_target) good = take_target(&v, &step->own_target);
    return good && v.rest == NULL;
}

static bool take_schedule(struct words *words, struct draught_schedule *schedule)
{
    struct words v;
    unsigned i;
    memset(schedule, 0, sizeof *schedule);
    if (!take_settings(words, schedule) || !field(words, "steps", &v) || !take_u8(&v, &schedule->step_count)) return false;
    for (i = 0; i < schedule->step_count; i++) {
        if (!take_step(words, &schedule->steps[i])) return false;
    }
    return words->rest == NULL;
}

/* ---- cases ---- */

static bool answer_read(struct words *words)
{
    static uint8_t block[BLOCK_ROOM]; /* static for the sake of small stacks */
    static struct draught_schedule schedule;
    struct draught_refusal refusal;
    size_t length;
    unsigned long capacity;
    unsigned i;
    char *digits;
    struct words v;

    v.rest = take(words, ' ');
    digits = take(words, ' ');
    if (v.rest == NULL || digits == NULL || words->rest != NULL) return false;
    if (!take_number(&v, ULONG_MAX, &capacity) || !from_hex(digits, block, sizeof block, &length)) return false;

    if (draught_read(block, length, capacity, &schedule, &refusal)) {
        printf("ok ");
        print_settings(&schedule);
        for (i = 0; i < schedule.step_count; i++) print_step(&schedule.steps[i]);
        printf("\n");
    } else {
        printf("refused %s %lu ", draught_refusal_name(refusal.code), (unsigned long)refusal.at_byte);
        if (refusal.step == 0) {
            printf("-\n");
        } else {
            printf("%u\n", refusal.step);
        }
    }
    return true;
}

static bool answer_write(struct words *words)
{
    static uint8_t block[DRAUGHT_BLOCK_BYTES_MAX];
    static struct draught_schedule schedule;
    size_t length;
    if (!take_schedule(words, &schedule)) return false;
    length = draught_write(&schedule, block, sizeof block);
    if (length == 0) return false;
    print_hex(block, length);
    printf("\n");
    return true;
}

int main(void)
{
    static char line[LINE_ROOM];
    unsigned long number = 0;
    while (fgets(line, sizeof line, stdin) != NULL) {
        struct words words;
        const char *kind;
        bool good;
        number++;
        line[strcspn(line, "\n")] = '\0';
        words.rest = line;
        kind = take(&words, ' ');
        good = strcmp(kind, "read") == 0 ? answer_read(&words) : strcmp(kind, "write") == 0 && answer_write(&words);
        if (!good) {
            fprintf(stderr, "error: line %lu: neither `read CAPACITY HEX` nor `write VALUE` of a legal schedule\n", number);
            return 2;
        }
    }
    return fflush(stdout) == 0 ? 0 : 1;
}
