#define _GNU_SOURCE
#include "wire.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

static int master = -1;
static char out[4096];
static size_t length;

bool wire_open(const char *link)
{
    struct termios raw;
    char fresh[4096];
    master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (master < 0 || grantpt(master) || unlockpt(master))
        return false;
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY); /* stays open, so that the chip outlives its reader */
    if (slave < 0 || tcgetattr(slave, &raw))
        return false;
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    snprintf(fresh, sizeof fresh, "%s.new", link);
    unlink(fresh);
    return !symlink(ptsname(master), fresh) && !rename(fresh, link);
}

int wire_file(void)
{
    return master;
}

void wire_say(char byte)
{
    if (length < sizeof out)
        out[length++] = byte;
}

/* Bytes for a port that nobody reads are lost, as an adapter loses them; the chip never waits. */
void wire_flush(void)
{
    size_t sent = 0;
    while (sent < length) {
        ssize_t n = write(master, out + sent, length - sent);
        if (n <= 0)
            break;
        sent += (size_t)n;
    }
    length = 0;
}
