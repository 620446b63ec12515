/* The one table that makes this firmware the board of one profile.
 *
 * It comes as an image of bytes (EEPROM of the controller, from address 0),
 * made by image.py; README.md gives its layout.  Times are milliseconds as the
 * program counts them: what relays and filters take is already taken off. */
#ifndef BOARD_PARAMETERS_H
#define BOARD_PARAMETERS_H

#include <stdbool.h>
#include <stdint.h>

enum { OUTPUTS = 10, RELAYS = 8, CALLS = 8, ALARMS = 2, ALARM_NO = 8, ALARM_NC = 9 };
enum { NO_CALL = 0xFF };
enum { OUT_Y = 0, OUT_W = 1, OUT_G = 2, OUT_Y2 = 5 };

enum { SENSORS = 2 };

enum { IMAGE_VERSION = 6, IMAGE_BYTES = 488, OUTPUT_BYTES = 38, SENSOR_BYTES = 9, BUS_BYTES = 16 };

/* Codes of the light; all others are that many flashes. */
enum { CODE_DARK = 0, CODE_STEADY = 255 };

typedef enum {
    MODE_UNPOWERED,
    MODE_START_UP,
    MODE_NORMAL,
    MODE_LEAK_ACTIVE,
    MODE_POST_LEAK_HOLD,
    MODE_SENSOR_FAULT,
    MODE_SELF_TEST,
    MODES
} board_mode;

typedef enum { POLICY_OFF, POLICY_ON, POLICY_FOLLOW } board_policy;

typedef enum { BAND_CONTINUE, BAND_PAUSE, BAND_RESTART } band_rule;
typedef enum { LOST_RESTART, LOST_PAUSE, LOST_RUN } lost_rule;
typedef enum { CUT_RESUME, CUT_RESTART_HOLD, CUT_FORGET } cut_rule;

/* What an anti-short-cycle delay runs after. */
enum { AFTER_RELEASE = 1, AFTER_RETURN = 2, AFTER_POWER_UP = 4, AFTER_ANY_OFF = 8 };

typedef struct {
    bool used;
    bool fed_by_call; /* its terminal goes off with the call; else it is fed from R */
    uint8_t call; /* NO_CALL: follows none */
    uint8_t policy[MODES];
    uint32_t follow_on_ms, follow_off_ms;
    uint32_t react_on_ms, react_off_ms;
    uint32_t trip_more_ms, loss_more_ms; /* after the qualification */
    uint8_t restart_after;
    uint32_t restart_ms;
} output_parameters;

typedef struct {
    bool used;
    bool biased;       /* a contact: feed the divider */
    bool falling;      /* more gas is less voltage */
    bool open_is_lost, short_is_lost;
    bool trouble_is_lost; /* its trouble contact is looked at … */
    bool trouble_closed;  /* … and is closed while there is trouble, else open */
    bool on_bus;       /* what the bus reads is judged, in counts; `_mv` are counts then */
    uint16_t trip_mv, clear_mv;
    uint16_t short_below_mv, open_above_mv;
} sensor_parameters;

/* What of a Modbus sensor's ways to be lost is to be noticed. */
enum { LOST_BY_SILENCE = 1, LOST_BY_CRC = 2, LOST_BY_EXCEPTION = 4 };

/* The one sensor that is on a bus. */
typedef struct {
    uint8_t sensor;   /* its place, counted from 1; 0: none */
    uint8_t address;
    uint8_t rate;     /* 2400 baud shifted left by it */
    uint8_t parity;   /* 0 none, 1 even, 2 odd */
    uint8_t function;
    uint8_t lost_by;
    uint16_t concentration, status; /* registers; the same: there is no status */
    uint16_t lost_bits; /* of the status, that are a loss */
    uint16_t period_ms, patience_ms; /* between questions; for an answer */
} bus_parameters;

/* What the service button can ask for. */
typedef enum { ASK_SELF_TEST, ASK_RECALL, ASK_CLEAR, ASK_RESET, ASKS, ASK_NOTHING = ASKS } button_ask;

/* So many presses, the last begun no later than `ms` after the first; no presses: one that lasts for `ms` (0: none). */
typedef struct {
    uint8_t presses;
    uint16_t ms;
} gesture_parameters;

typedef struct {
    uint16_t settle_ms; /* a shorter press is none, nor is a shorter pause */
    uint16_t window_ms; /* the longest in which presses belong together */
    gesture_parameters gesture[ASKS];
} button_parameters;

typedef struct {
    sensor_parameters sensor[SENSORS];
    bus_parameters bus;
    button_parameters button;
    bool all_must_be_lost;
    bool latching, fault_into_hold, ends_only_low, check_before_normal;
    bool leak_waits, loss_waits; /* in a self-test, until it is over */
    band_rule on_band;
    lost_rule when_lost;
    cut_rule after_cut;
    uint32_t boot_ms, warm_up_ms, trip_ms, clear_ms, hold_ms, loss_ms, return_ms;
    uint32_t ride_through_ms;
    uint32_t reset_ms; /* 0: being without supply resets nothing */
    uint32_t self_test_ms;
    output_parameters output[OUTPUTS];
    uint8_t code[MODES]; /* what the light shows */
    uint16_t flash_ms, gap_ms, pause_ms;
} parameters;

/* False where the image is not one of this version with a right check; `p` is then not to be used. */
bool parameters_load(parameters *p, const uint8_t image[IMAGE_BYTES]);

#endif
