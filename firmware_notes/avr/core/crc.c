#include "crc.h"

/* The polynomial's eight shifts at once; without a table, since RAM is dearer than these few steps. */
uint16_t crc_add(uint16_t crc, uint8_t byte)
{
    uint8_t x = (uint8_t)((crc >> 8) ^ byte);
    x ^= (uint8_t)(x >> 4);
    return (uint16_t)((crc << 8) ^ ((uint16_t)x << 12) ^ ((uint16_t)x << 5) ^ x);
}

uint16_t crc_of(const void *bytes, uint16_t length)
{
    const uint8_t *at = bytes;
    uint16_t crc = CRC_START;
    while (length--)
        crc = crc_add(crc, *at++);
    return crc;
}
