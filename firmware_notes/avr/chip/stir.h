/* A byte stirred into a seed (FNV-1a, 32 bits): each byte moves every bit above it, and two seeds never become one. */
#ifndef STIR_H
#define STIR_H
#include <stdint.h>

static inline uint32_t stir(uint32_t seed, uint8_t byte)
{
    return (seed ^ byte) * 16777619ul;
}

#endif
