"""What a reset without power loss keeps, packed with a checksum into memory of the board's own. Pure."""

import struct

from calls import CALLING, SLOTS, WAITING, Slot
from wire import crc16

_HEAD = "<4sIIIQIIII"
_SLOT = "<BBQI"
_MARK = b"uvk2"
_NONE = 255
_HEAD_SIZE = struct.calcsize(_HEAD)
_SLOT_SIZE = struct.calcsize(_SLOT)
SIZE = _HEAD_SIZE + SLOTS * _SLOT_SIZE + 2


def pack(node, buffer):
    """Write what the node is into a buffer of `SIZE` bytes. A node that is blind is kept as none: it boots anew."""
    calls = node.calls
    mark = _MARK if node.counting else b"none"
    struct.pack_into(
        _HEAD, buffer, 0, mark, node.boot, node.seq, node.uptime_ms() & 0xFFFFFFFF, node.register(), node.sat_ms,
        node.presses, node.rate_milli, calls.lease_ms,
    )  # fmt: skip
    at = _HEAD_SIZE
    for slot in calls.slots:
        if slot is None:
            struct.pack_into(_SLOT, buffer, at, _NONE, 0, 0, 0)
        else:
            struct.pack_into(_SLOT, buffer, at, slot.state, slot.pattern, slot.register, slot.uptime_ms)
        at += _SLOT_SIZE
    struct.pack_into("<H", buffer, at, crc16(memoryview(buffer)[:at]))


def unpack(data, node, now_ms):
    """Bring a new node back to what was kept; False, and nothing done, where it was not or is damaged."""
    if data is None or len(data) != SIZE:
        return False
    if struct.unpack_from("<H", data, SIZE - 2)[0] != crc16(data[: SIZE - 2]):
        return False
    mark, boot, seq, uptime_ms, register, sat_ms, presses, rate_milli, lease_ms = struct.unpack_from(_HEAD, data, 0)
    if mark != _MARK:
        return False
    node.resume(boot, seq, uptime_ms, register, sat_ms, presses)
    node.rate_milli = rate_milli
    calls = node.calls
    calls.lease_ms, calls.proved_ms = lease_ms, now_ms
    at = _HEAD_SIZE
    for number in range(SLOTS):
        state, pattern, value, reached_ms = struct.unpack_from(_SLOT, data, at)
        at += _SLOT_SIZE
        if state != _NONE:
            slot = Slot(value, pattern)
            calls.slots[number] = slot
            if state != WAITING:
                slot.state, slot.uptime_ms = state, reached_ms
                slot.reached_ms = now_ms if state == CALLING else 0
    calls.look()
    return True
