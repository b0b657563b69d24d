#include "light.h"

#include <stdio.h>

#define ROWS 8192

static struct { double ms, mv; } row[ROWS];
static int rows = 1, at; /* time does not go back, so the place is kept */
static bool linear;
static double from_ms;

void light_hold(double mv)
{
    rows = 1;
    at = 0;
    row[0].mv = mv;
}

bool light_read(const char *path, bool between, double now_ms)
{
    FILE *file = fopen(path, "r");
    int read = 0;
    if (!file)
        return false;
    while (read < ROWS && fscanf(file, "%lf %lf", &row[read].ms, &row[read].mv) == 2)
        read++;
    fclose(file);
    rows = read ? read : 1;
    at = 0;
    linear = between;
    from_ms = now_ms;
    return read > 0;
}

uint32_t light_mv(double now_ms)
{
    double ms = now_ms - from_ms, mv;
    while (at + 1 < rows && row[at + 1].ms <= ms)
        at++;
    mv = row[at].mv;
    if (linear && at + 1 < rows && ms >= row[at].ms)
        mv += (row[at + 1].mv - mv) * (ms - row[at].ms) / (row[at + 1].ms - row[at].ms);
    return (uint32_t)(mv + 0.5);
}
