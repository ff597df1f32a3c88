/* Speaks the line protocol of tests/reference/README.md: a case a line on standard input, its answer on standard
 * output. Ends with 0 at the end of input, with 2 at a line that is no case, with 1 if the streams fail. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "draught_block.h"

enum { LINE_BYTES_MAX = 65536, BLOCK_BYTES_MAX = LINE_BYTES_MAX / 2, OUTPUT_BUFFER_BYTES = 65536 };

/* The words of the protocol, each list in the order of its enumeration. */
static const char *const KEPT_WORDS[] = { "flow", "pressure", NULL };
static const char *const OUTAGE_WORDS[] = { "keep-stop-time", "make-up-time", "abandon", NULL };
static const char *const FAULT_WORDS[] = { "stop", "retry", "close", NULL };
static const char *const FLAG_WORDS[] = { "no", "yes", NULL };
static const char *const THEN_WORDS[] = { "continue", "close", NULL };
static const char *const SAMPLER_WORDS[] = { "same", "fresh", "fresh-confirmed", NULL };
static const char *const STEP_WORDS[] = { "finish",    "date",        "time", "weekday",            "cycle",  "run-for",
                                          "run-until", "draw-volume", "hold", "hold-until-resumed", "repeat", NULL };

/* ---- Printing a schedule ---- */

static void print_target(const struct draught_target *target)
{
    printf("%s:%" PRIu32, KEPT_WORDS[target->kept], target->value);
}

static void print_settings(const struct draught_settings *s)
{
    printf(" name=%s", s->name[0] == '\0' ? "-" : "");
    for (const char *letter = s->name; *letter != '\0'; letter++) {
        printf("%02x", (unsigned)(unsigned char)*letter);
    }
    if (s->has_start_by) {
        printf(" start-by=%u:%" PRIu32, (unsigned)s->start_by_day, s->start_by_time_of_day_ms);
    } else {
        printf(" start-by=-");
    }
    printf(" late=%" PRIu32 " outage=%s", s->late_tolerance_ms, OUTAGE_WORDS[s->outage]);
    if (s->outage != DRAUGHT_ABANDON) {
        printf(":%" PRIu32 ":%s", s->resume_within_ms, FLAG_WORDS[s->while_charging]);
    }
    printf(" fault=%s", FAULT_WORDS[s->fault]);
    if (s->fault == DRAUGHT_FAULT_RETRY) {
        printf(":%" PRIu32 ":%u", s->retry_every_ms, (unsigned)s->retry_times);
    }
    printf(" limits=%u:%" PRIu32, (unsigned)s->flow_deviation_percent, s->flow_deviation_time_ms);
    if (s->pressure_at_most_pa != 0) {
        printf(":%" PRIu32, s->pressure_at_most_pa);
    } else {
        printf(":-");
    }
}

static void print_step(const struct draught_step *step)
{
    printf(" %s", STEP_WORDS[step->kind]);
    switch (step->kind) {
    case DRAUGHT_WAIT_FOR_DATE:
        printf(":%u", (unsigned)step->as.wait_for_date.day);
        break;
    case DRAUGHT_WAIT_FOR_TIME:
        printf(":%" PRIu32, step->as.wait_for_time.time_of_day_ms);
        break;
    case DRAUGHT_WAIT_FOR_WEEKDAY:
        printf(":%u", (unsigned)step->as.wait_for_weekday.bits);
        break;
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        printf(":%u:%u", (unsigned)step->as.wait_for_cycle_day.from_day,
               (unsigned)step->as.wait_for_cycle_day.every_days);
        break;
    case DRAUGHT_RUN_FOR:
        printf(":%" PRIu32, step->as.run_for.duration_ms);
        break;
    case DRAUGHT_RUN_UNTIL:
        printf(":%" PRIu32 ":%" PRIu32, step->as.run_until.time_of_day_ms, step->as.run_until.at_most_ms);
        break;
    case DRAUGHT_DRAW_VOLUME:
        printf(":%" PRIu32 ":%" PRIu32, step->as.draw_volume.volume_ml, step->as.draw_volume.at_most_ms);
        break;
    case DRAUGHT_HOLD:
        printf(":%" PRIu32, step->as.hold.duration_ms);
        break;
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        printf(":%" PRIu32 ":%s", step->as.hold_until_resumed.at_most_ms, THEN_WORDS[step->as.hold_until_resumed.then]);
        break;
    case DRAUGHT_REPEAT:
        printf(":%u:%u:%s", (unsigned)step->as.repeat.from_step, (unsigned)step->as.repeat.passes,
               SAMPLER_WORDS[step->as.repeat.sampler]);
        break;
    default: /* DRAUGHT_FINISH */
        break;
    }
    if (step->has_own_target) {
        putchar(':');
        print_target(&step->own_target);
    }
}

static void print_schedule(const struct draught_schedule *schedule)
{
    printf("ok offset=%d target=", schedule->utc_offset_quarter_hours);
    print_target(&schedule->target);
    print_settings(&schedule->settings);
    printf(" steps=%u", (unsigned)schedule->step_count);
    for (unsigned index = 0; index < schedule->step_count; index++) {
        print_step(&schedule->steps[index]);
    }
    putchar('\n');
}

/* ---- Parsing. Each function takes what it names from the front of *at, or says that it is not there. ---- */

static bool take(const char **at, const char *text)
{
    const size_t length = strlen(text);
    if (strncmp(*at, text, length) != 0) {
        return false;
    }
    *at += length;
    return true;
}

/* The longest of the words that fits, since "fresh" begins "fresh-confirmed". */
static bool take_word(const char **at, const char *const words[], uint8_t *place)
{
    size_t longest = 0;
    for (uint8_t candidate = 0; words[candidate] != NULL; candidate++) {
        const size_t length = strlen(words[candidate]);
        if (length > longest && strncmp(*at, words[candidate], length) == 0) {
            longest = length;
            *place = candidate;
        }
    }
    *at += longest;
    return longest > 0;
}

static bool take_number(const char **at, uint32_t most, uint32_t *number)
{
    uint64_t value = 0;
    if (**at < '0' || **at > '9') {
        return false;
    }
    for (; **at >= '0' && **at <= '9'; ++*at) {
        value = value * 10 + (uint64_t)(**at - '0');
        if (value > most) {
            return false;
        }
    }
    *number = (uint32_t)value;
    return true;
}

static bool take_byte(const char **at, uint8_t *byte)
{
    uint32_t number = 0;
    const bool taken = take_number(at, UINT8_MAX, &number);
    *byte = (uint8_t)number;
    return taken;
}

static bool take_short(const char **at, uint16_t *value)
{
    uint32_t number = 0;
    const bool taken = take_number(at, UINT16_MAX, &number);
    *value = (uint16_t)number;
    return taken;
}

static bool take_colon_number(const char **at, uint32_t *number)
{
    return take(at, ":") && take_number(at, UINT32_MAX, number);
}

static int hex_digit(char digit)
{
    return digit >= '0' && digit <= '9' ? digit - '0' : digit >= 'a' && digit <= 'f' ? digit - 'a' + 10 : -1;
}

/* "-" or pairs of lower-case hex digits. */
static bool take_hex(const char **at, uint8_t *bytes, size_t room, size_t *length)
{
    *length = 0;
    if (take(at, "-")) {
        return true;
    }
    while (hex_digit((*at)[0]) >= 0 && hex_digit((*at)[1]) >= 0 && *length < room) {
        bytes[(*length)++] = (uint8_t)(hex_digit((*at)[0]) * 16 + hex_digit((*at)[1]));
        *at += 2;
    }
    return *length > 0;
}

static bool take_offset(const char **at, int8_t *quarter_hours)
{
    const bool negative = take(at, "-");
    uint32_t number = 0;
    const bool taken = take_number(at, INT8_MAX, &number);
    *quarter_hours = (int8_t)(negative ? -(int)number : (int)number);
    return taken;
}

static bool take_target(const char **at, struct draught_target *target)
{
    return take_word(at, KEPT_WORDS, &target->kept) && take_colon_number(at, &target->value);
}

static bool take_name(const char **at, char name[DRAUGHT_NAME_BYTES_MAX + 1])
{
    uint8_t bytes[DRAUGHT_NAME_BYTES_MAX];
    size_t length;
    if (!take_hex(at, bytes, sizeof bytes, &length)) {
        return false;
    }
    memcpy(name, bytes, length);
    name[length] = '\0';
    return true;
}

static bool take_start_by(const char **at, struct draught_settings *s)
{
    s->has_start_by = !take(at, "-");
    return !s->has_start_by
        || (take_short(at, &s->start_by_day) && take_colon_number(at, &s->start_by_time_of_day_ms));
}

static bool take_outage(const char **at, struct draught_settings *s)
{
    uint8_t while_charging;
    if (!take_word(at, OUTAGE_WORDS, &s->outage)) {
        return false;
    }
    if (s->outage == DRAUGHT_ABANDON) {
        return true;
    }
    if (!take_colon_number(at, &s->resume_within_ms) || !take(at, ":") || !take_word(at, FLAG_WORDS, &while_charging)) {
        return false;
    }
    s->while_charging = while_charging == 1;
    return true;
}

static bool take_fault(const char **at, struct draught_settings *s)
{
    return take_word(at, FAULT_WORDS, &s->fault)
        && (s->fault != DRAUGHT_FAULT_RETRY
            || (take_colon_number(at, &s->retry_every_ms) && take(at, ":") && take_byte(at, &s->retry_times)));
}

static bool take_limits(const char **at, struct draught_settings *s)
{
    s->pressure_at_most_pa = 0;
    return take_byte(at, &s->flow_deviation_percent) && take_colon_number(at, &s->flow_deviation_time_ms)
        && take(at, ":") && (take(at, "-") || take_number(at, UINT32_MAX, &s->pressure_at_most_pa));
}

static bool take_step(const char **at, struct draught_step *step)
{
    bool taken;
    if (!take(at, " ") || !take_word(at, STEP_WORDS, &step->kind)) {
        return false;
    }
    step->has_own_target = false;
    if (step->kind == DRAUGHT_FINISH) {
        return true;
    }
    if (!take(at, ":")) {
        return false;
    }
    switch (step->kind) {
    case DRAUGHT_WAIT_FOR_DATE:
        return take_short(at, &step->as.wait_for_date.day);
    case DRAUGHT_WAIT_FOR_TIME:
        return take_number(at, UINT32_MAX, &step->as.wait_for_time.time_of_day_ms);
    case DRAUGHT_WAIT_FOR_WEEKDAY:
        return take_byte(at, &step->as.wait_for_weekday.bits);
    case DRAUGHT_WAIT_FOR_CYCLE_DAY:
        return take_short(at, &step->as.wait_for_cycle_day.from_day) && take(at, ":")
            && take_short(at, &step->as.wait_for_cycle_day.every_days);
    case DRAUGHT_HOLD:
        return take_number(at, UINT32_MAX, &step->as.hold.duration_ms);
    case DRAUGHT_HOLD_UNTIL_RESUMED:
        return take_number(at, UINT32_MAX, &step->as.hold_until_resumed.at_most_ms) && take(at, ":")
            && take_word(at, THEN_WORDS, &step->as.hold_until_resumed.then);
    case DRAUGHT_REPEAT:
        return take_byte(at, &step->as.repeat.from_step) && take(at, ":") && take_short(at, &step->as.repeat.passes)
            && take(at, ":") && take_word(at, SAMPLER_WORDS, &step->as.repeat.sampler);
    case DRAUGHT_RUN_FOR:
        taken = take_number(at, UINT32_MAX, &step->as.run_for.duration_ms);
        break;
    case DRAUGHT_RUN_UNTIL:
        taken = take_number(at, UINT32_MAX, &step->as.run_until.time_of_day_ms)
            && take_colon_number(at, &step->as.run_until.at_most_ms);
        break;
    default: /* DRAUGHT_DRAW_VOLUME */
        taken = take_number(at, UINT32_MAX, &step->as.draw_volume.volume_ml)
            && take_colon_number(at, &step->as.draw_volume.at_most_ms);
        break;
    }
    step->has_own_target = taken && take(at, ":");
    return taken && (!step->has_own_target || take_target(at, &step->own_target));
}

static bool take_schedule(const char **at, struct draught_schedule *schedule)
{
    struct draught_settings *const settings = &schedule->settings;
    memset(settings, 0, sizeof *settings);
    bool taken = take(at, "offset=") && take_offset(at, &schedule->utc_offset_quarter_hours) && take(at, " target=")
        && take_target(at, &schedule->target) && take(at, " name=") && take_name(at, settings->name)
        && take(at, " start-by=") && take_start_by(at, settings) && take(at, " late=")
        && take_number(at, UINT32_MAX, &settings->late_tolerance_ms) && take(at, " outage=")
        && take_outage(at, settings) && take(at, " fault=") && take_fault(at, settings) && take(at, " limits=")
        && take_limits(at, settings) && take(at, " steps=") && take_byte(at, &schedule->step_count);
    for (unsigned index = 0; taken && index < schedule->step_count; index++) {
        taken = take_step(at, &schedule->steps[index]);
    }
    return taken;
}

/* ---- The cases. Each function says whether the line was such a case and is answered. ---- */

static bool answer_read(const char *at)
{
    uint8_t block[BLOCK_BYTES_MAX];
    size_t length_bytes;
    uint32_t capacity_steps;
    struct draught_schedule schedule;
    struct draught_refusal refusal;
    if (!take_number(&at, UINT32_MAX, &capacity_steps) || !take(&at, " ")
        || !take_hex(&at, block, sizeof block, &length_bytes) || *at != '\0') {
        return false;
    }
    if (draught_read(block, length_bytes, capacity_steps, &schedule, &refusal)) {
        print_schedule(&schedule);
        return true;
    }
    printf("refused %s %zu ", draught_refusal_name(refusal.code), refusal.at_byte);
    if (refusal.step != 0) {
        printf("%u\n", refusal.step);
    } else {
        printf("-\n");
    }
    return true;
}

static bool answer_write(const char *at)
{
    uint8_t block[DRAUGHT_BLOCK_BYTES_MAX];
    struct draught_schedule schedule;
    if (!take_schedule(&at, &schedule) || *at != '\0') {
        return false;
    }
    const size_t length_bytes = draught_write(&schedule, block, sizeof block);
    for (size_t byte = 0; byte < length_bytes; byte++) {
        printf("%02x", (unsigned)block[byte]);
    }
    putchar('\n');
    return length_bytes > 0;
}

static bool answer(const char *line)
{
    return take(&line, "read ") ? answer_read(line) : take(&line, "write ") && answer_write(line);
}

int main(void)
{
    char line[LINE_BYTES_MAX];
    unsigned long line_number = 0;
    setvbuf(stdout, NULL, _IOFBF, OUTPUT_BUFFER_BYTES);
    while (fgets(line, sizeof line, stdin) != NULL) {
        const size_t length = strcspn(line, "\n");
        const bool whole = line[length] == '\n' || feof(stdin); /* else it goes on beyond the buffer */
        line[length] = '\0';
        line_number++;
        if (!whole || !answer(line)) {
            fflush(stdout); /* the answers before it stand */
            fprintf(stderr, "line %lu is neither `read CAPACITY HEX` nor `write VALUE` of a legal schedule: %.200s\n",
                    line_number, line);
            return 2;
        }
    }
    if (ferror(stdin) || fflush(stdout) != 0) {
        fprintf(stderr, "standard input or output failed after line %lu\n", line_number);
        return 1;
    }
    return 0;
}
