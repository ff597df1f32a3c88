/* The block of a schedule, version 1: a reader and a writer, from docs/encoding.md, whose words they use.
 *
 * C99, also without a C library: no allocation, no recursion, no floating point, no state between calls.
 * All times are whole milliseconds, all dates are days after 2000-01-01 (day 0), both at the schedule's UTC offset.
 */
#ifndef DRAUGHT_BLOCK_H
#define DRAUGHT_BLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A pump with little RAM may set this lower; a schedule with more steps is then refused. */
#ifndef DRAUGHT_STEPS_MAX
#define DRAUGHT_STEPS_MAX 255
#endif
#if DRAUGHT_STEPS_MAX < 1 || DRAUGHT_STEPS_MAX > 255
#error "DRAUGHT_STEPS_MAX is 1 to 255"
#endif

#define DRAUGHT_NAME_BYTES_MAX 24
#define DRAUGHT_BLOCK_BYTES_MAX 4402 /* of 255 steps */

/* What the pump keeps constant. The enumerations below stand in one byte each, so the structs say which. */
enum draught_kept { DRAUGHT_FLOW, DRAUGHT_PRESSURE };

struct draught_target {
    uint8_t kept;   /* enum draught_kept */
    uint32_t value; /* a flow in uL/min or a pressure in Pa */
};

enum draught_outage { DRAUGHT_KEEP_STOP_TIME, DRAUGHT_MAKE_UP_TIME, DRAUGHT_ABANDON };
enum draught_fault { DRAUGHT_FAULT_STOP, DRAUGHT_FAULT_RETRY, DRAUGHT_FAULT_CLOSE };

/* As read, every setting has a value: a default where the block leaves it out. */
struct draught_settings {
    char name[DRAUGHT_NAME_BYTES_MAX + 1]; /* UTF-8, ends with NUL; empty: no name */

    bool has_start_by;
    uint16_t start_by_day;
    uint32_t start_by_time_of_day_ms;

    uint32_t late_tolerance_ms;

    uint8_t outage;            /* enum draught_outage */
    uint32_t resume_within_ms; /* unless DRAUGHT_ABANDON */
    bool while_charging;       /* unless DRAUGHT_ABANDON */

    uint8_t fault;           /* enum draught_fault */
    uint32_t retry_every_ms; /* of DRAUGHT_FAULT_RETRY */
    uint8_t retry_times;     /* of DRAUGHT_FAULT_RETRY */

    uint8_t flow_deviation_percent;
    uint32_t flow_deviation_time_ms;
    uint32_t pressure_at_most_pa; /* 0: no pressure limit */
};

enum draught_step_kind {
    DRAUGHT_FINISH,
    DRAUGHT_WAIT_FOR_DATE,
    DRAUGHT_WAIT_FOR_TIME,
    DRAUGHT_WAIT_FOR_WEEKDAY,
    DRAUGHT_WAIT_FOR_CYCLE_DAY,
    DRAUGHT_RUN_FOR,
    DRAUGHT_RUN_UNTIL,
    DRAUGHT_DRAW_VOLUME,
    DRAUGHT_HOLD,
    DRAUGHT_HOLD_UNTIL_RESUMED,
    DRAUGHT_REPEAT
};

enum draught_then { DRAUGHT_THEN_CONTINUE, DRAUGHT_THEN_CLOSE };
enum draught_sampler { DRAUGHT_SAME, DRAUGHT_FRESH, DRAUGHT_FRESH_CONFIRMED };

struct draught_step {
    uint8_t kind; /* enum draught_step_kind: says which member of `as` holds */
    bool has_own_target; /* run_for, run_until and draw_volume only */
    struct draught_target own_target;
    union {
        struct { uint16_t day; } wait_for_date;
        struct { uint32_t time_of_day_ms; } wait_for_time;
        struct { uint8_t bits; } wait_for_weekday; /* Monday is bit 0, Sunday bit 6 */
        struct { uint16_t from_day, every_days; } wait_for_cycle_day;
        struct { uint32_t duration_ms; } run_for;
        struct { uint32_t time_of_day_ms, at_most_ms; } run_until;
        struct { uint32_t volume_ml, at_most_ms; } draw_volume;
        struct { uint32_t duration_ms; } hold;
        struct { uint32_t at_most_ms; uint8_t then; } hold_until_resumed;       /* enum draught_then */
        struct { uint8_t from_step; uint16_t passes; uint8_t sampler; } repeat; /* enum draught_sampler */
    } as;
};

struct draught_schedule {
    int8_t utc_offset_quarter_hours;
    struct draught_target target;
    struct draught_settings settings;
    uint8_t step_count;
    struct draught_step steps[DRAUGHT_STEPS_MAX]; /* step 1 is steps[0] */
};

/* In the order of the page's tables. */
enum draught_refusal_code {
    DRAUGHT_ACCEPTED,
    DRAUGHT_TOO_SHORT,
    DRAUGHT_CRC,
    DRAUGHT_BAD_MAGIC,
    DRAUGHT_BAD_VERSION,
    DRAUGHT_NEWER_FORMAT,
    DRAUGHT_ENDS_EARLY,
    DRAUGHT_OVER_LONG,
    DRAUGHT_NUMBER_TOO_LARGE,
    DRAUGHT_UNKNOWN_TAG,
    DRAUGHT_OUT_OF_RANGE,
    DRAUGHT_SCALE_NOT_LARGEST,
    DRAUGHT_SETTING_TWICE,
    DRAUGHT_SETTING_ORDER,
    DRAUGHT_SETTING_DEFAULT,
    DRAUGHT_NAME_TOO_LONG,
    DRAUGHT_NAME_NOT_UTF8,
    DRAUGHT_NAME_CONTROL,
    DRAUGHT_TOO_MANY_STEPS,
    DRAUGHT_OWN_TARGET_SAME,
    DRAUGHT_TRAILING_BYTES,
    DRAUGHT_AFTER_FINISH,
    DRAUGHT_SAME_WAIT_TWICE,
    DRAUGHT_NEVER_MET,
    DRAUGHT_REPEAT_FORWARD,
    DRAUGHT_REPEAT_CROSSES,
    DRAUGHT_TOO_DEEP,
    DRAUGHT_TOO_MANY_PASSES,
    DRAUGHT_ENTERS_WAITS,
    DRAUGHT_DATE_REPEATS,
    DRAUGHT_NO_FINISH
};

struct draught_refusal {
    enum draught_refusal_code code;
    size_t at_byte; /* offset of the field at fault */
    unsigned step;  /* the step at fault, counted from 1; 0: it is in no step */
};

/* True if the block is accepted; *schedule then holds it. Else *refusal says why not, and *schedule is as it was; but
 * if a table rule is broken, it is left without steps. A block of more than `capacity_steps` steps is refused. */
bool draught_read(const uint8_t *block, size_t length_bytes, size_t capacity_steps, struct draught_schedule *schedule,
                  struct draught_refusal *refusal);

/* The length of the block in bytes; 0 if it needs more than `room_bytes`, or if a reader would refuse the schedule.
 * The four last bytes are the schedule's id. With 0, what stands in `block` is no block. */
size_t draught_write(const struct draught_schedule *schedule, uint8_t *block, size_t room_bytes);

/* The code as the page writes it, as in "never-met". */
const char *draught_refusal_name(enum draught_refusal_code code);

#endif
