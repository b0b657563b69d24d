"""Packets, what waits to be sent, and how long a node waits before it tries again."""

import outbox
import packets
from common import Dice


def case_packets():
    """Lengths as the tables of MQTT 3.1.1, section 2.2.3, have them; the flags of section 3.1.2.3."""
    for size, head in ((127, b"\x7f"), (128, b"\x80\x01"), (16383, b"\xff\x7f"), (16384, b"\x80\x80\x01")):
        assert packets.publish("a", b"x" * (size - 3))[1 : 1 + len(head)] == head, size
    data = packets.connect("uv1", 12, "", "", "p/n/online", b"0")
    assert data[2:12] == b"\x00\x04MQTT\x04\x2e\x00\x0c" and data[12:] == b"\x00\x03uv1\x00\x0ap/n/online\x00\x010"
    assert packets.connect("u", 12, "me", "pw", "t", b"0")[9] == 0xEE
    assert packets.connect("u", 12, "me", "pw", "t", b"0").endswith(b"\x00\x02me\x00\x02pw")
    assert packets.message(0x33, b"\x00\x03a/b\x01\x02hello") == (b"a/b", b"hello", 0x102, True)
    assert packets.message(0x30, b"\x00\x01ahello") == (b"a", b"hello", 0, False)
    assert packets.puback(0x102) == b"\x40\x02\x01\x02"


def case_no_backlog():
    box = outbox.Outbox()
    box.put(b"uv1,1")
    assert box.take() is None, "nobody is there: dropped"
    box.set_open(True)
    for i in range(100):
        box.put(b"uv1,%d" % i)
        if i % 20 == 0:
            box.put(b"ok %d" % i)
    found = []
    while True:
        line = box.take()
        if line is None:
            break
        found.append(line)
    assert len(found) <= 12 and found[-1] == b"uv1,99"
    assert [f for f in found if f.startswith(b"ok")] == [b"ok %d" % i for i in (0, 20, 40, 60, 80)], "in their order"


def case_waits_are_capped():
    dice = Dice(5)
    waits = outbox.Waits(500, 15_000, dice)
    found = [waits.next() for _ in range(50)]
    caps = [min(500 << i, 15_000) for i in range(50)]
    assert all(cap // 2 <= ms <= cap for ms, cap in zip(found, caps))
    assert len(set(found[10:])) > 20
    waits.reset()
    assert waits.next() <= 500
