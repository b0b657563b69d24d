#include "gather.h"

bool gather_byte(struct gather *gather, char byte)
{
    if (byte == '\n') {
        if (gather->overlong)
            gather->line[gather->length - 1] = '*'; /* whatever its cut end was, it proves nothing now */
        return true;
    }
    if (gather->length < LINE_ROOM)
        gather->line[gather->length++] = byte;
    else
        gather->overlong = true;
    return false;
}

void gather_done(struct gather *gather)
{
    gather->length = 0;
    gather->overlong = false;
}
