/* CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xFFFF, nothing reflected; of "123456789" 0x29B1 (CRC catalogue). */
#ifndef CRC_H
#define CRC_H
#include <stdint.h>

#define CRC_START 0xFFFFu

uint16_t crc_add(uint16_t crc, uint8_t byte);
uint16_t crc_of(const void *bytes, uint16_t length);

#endif
