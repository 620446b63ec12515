#include "crc.h"

uint16_t crc16(const uint8_t *bytes, size_t count)
{
    uint16_t crc = 0xFFFFu;
    for (size_t i = 0; i < count; i++) {
        crc = (uint16_t)(crc ^ (uint16_t)((uint16_t)bytes[i] << 8));
        for (uint8_t bit = 0; bit < 8u; bit++) {
            const uint16_t over = crc & 0x8000u;
            crc = (uint16_t)(crc << 1);
            if (over != 0u) {
                crc = (uint16_t)(crc ^ 0x1021u);
            }
        }
    }
    return crc;
}
