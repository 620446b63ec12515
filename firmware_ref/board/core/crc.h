/* CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected; of "123456789" it is 0x29B1. */
#ifndef BOARD_CRC_H
#define BOARD_CRC_H

#include <stddef.h>
#include <stdint.h>

uint16_t crc16(const uint8_t *bytes, size_t count);

#endif
