"""MQTT 3.1.1 packets, as far as a node needs them: pure, bytes in and out. Source: the OASIS standard of that name."""

CONNACK, PUBLISH, PUBACK, SUBACK, PINGRESP = 0x20, 0x30, 0x40, 0x90, 0xD0
PINGREQ = b"\xc0\x00"
REFUSED = {
    1: "it speaks another version of MQTT",
    2: "it does not take this client id",
    3: "it is not ready",
    4: "wrong user or password",
    5: "wrong user or password, or they may not come in",
}


def connect(client_id, keep_alive_s, user, password, will_topic, will):
    """The greeting, with a clean session and a retained last will of QoS 1."""
    flags = 0x02 | 0x04 | 1 << 3 | 0x20
    rest = _text(client_id) + _text(will_topic) + _text(will)
    if user:
        flags |= 0x80 | (0x40 if password else 0)
        rest += _text(user) + (_text(password) if password else b"")
    return _packet(0x10, b"\x00\x04MQTT\x04" + bytes((flags, keep_alive_s >> 8, keep_alive_s & 255)) + rest)


def publish(topic, payload, retain=False):
    """A message of QoS 0."""
    return _packet(PUBLISH | (1 if retain else 0), _text(topic) + payload)


def subscribe(topic):
    """Ask for a topic at QoS 1; the packet's number is always 1."""
    return _packet(0x82, b"\x00\x01" + _text(topic) + b"\x01")


def puback(number):
    return b"\x40\x02" + bytes((number >> 8, number & 255))


def message(first, body):
    """A PUBLISH by its first byte and what follows its length: topic, payload, number (0 at QoS 0), retained."""
    at = 2 + (body[0] << 8 | body[1])
    topic = body[2:at]
    number = 0
    if first & 0x06:
        number = body[at] << 8 | body[at + 1]
        at += 2
    return topic, body[at:], number, bool(first & 1)


def _text(text):
    data = text.encode() if isinstance(text, str) else text
    return bytes((len(data) >> 8, len(data) & 255)) + data


def _packet(first, body):
    left, length = len(body), b""
    while True:
        byte = left & 127
        left >>= 7
        length += bytes((byte | (128 if left else 0),))
        if not left:
            return bytes((first,)) + length + body
