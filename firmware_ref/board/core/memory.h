/* What the board still knows after it was without supply: a record with a check, in two slots.
 *
 * A record is written into the slot that does not hold the newest good one,
 * its check last.  So a supply that goes away in the middle of a write costs
 * the record being written, never the one before.  Bytes are handed out one at
 * a time: an EEPROM takes milliseconds for each. */
#ifndef BOARD_MEMORY_H
#define BOARD_MEMORY_H

#include <stdbool.h>
#include <stdint.h>

typedef enum { KEPT_NOTHING, KEPT_LEAK, KEPT_HOLD } memory_kept;
typedef enum { FAULT_NONE, FAULT_LEAK, FAULT_SENSOR } memory_fault;

typedef struct {
    memory_kept kept;
    uint32_t hold_left_ms;
    bool latched;
    bool down;               /* the supply was gone past the ride-through when this was written */
    memory_fault last_fault; /* for the light, until a person clears it */
} memory_record;

enum { SLOT_BYTES = 9, SLOT_STRIDE = 16, SLOTS = 2, STORE_BYTES = SLOT_STRIDE * SLOTS };

typedef struct {
    uint8_t image[STORE_BYTES]; /* as it stands, or will, in the EEPROM */
    memory_record saved;
    uint8_t sequence;
    uint8_t slot;               /* being written, or written last */
    uint8_t written;            /* bytes of it handed out; SLOT_BYTES: done */
    bool again;                 /* `saved` changed after its writing began */
} memory_state;

/* `store`: what the EEPROM holds now. */
void memory_start(memory_state *m, const uint8_t store[STORE_BYTES]);

/* Keep this record; the same as before costs nothing. */
void memory_save(memory_state *m, const memory_record *record);

/* The next byte to write and where; false: nothing to do. */
bool memory_next(memory_state *m, uint8_t *address, uint8_t *value);

#endif
