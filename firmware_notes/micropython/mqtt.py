"""One MQTT connection from its greeting to its loss, in asyncio: readings up at QoS 0, commands down at QoS 1.

Only one task writes, and no task waits for the network while another needs the processor. A broker that stands still,
with the connection open, is given up after `KEEP_ALIVE_S`; one that takes nothing any more after `STUCK_MS`.
"""

import asyncio

import packets

KEEP_ALIVE_S = 12
GREETING_S = 10
STUCK_MS = 8000
MOST_BYTES = 1024
LOOK_MS = 100


class Session:
    """clock: an `Uptime`. hear: called with each command's payload. still_on: whether the network is still there."""

    def __init__(self, settings, client_id, outbox, clock, hear, still_on):
        self._settings, self._client_id, self._outbox, self._clock = settings, client_id, outbox, clock
        self._hear, self._still_on = hear, still_on
        self._topic = f"{settings.PREFIX}/{settings.NAME}/"
        self._reader = self._writer = None
        self._urgent = []
        self._end = asyncio.Event()
        self._why = ""
        self._heard_ms = 0
        self._writing_ms = None
        self.opened_ms = None  # when the broker took us in

    async def run(self):
        """Greet, and stay until the connection is lost. Raises OSError with the reason, always."""
        tasks = []
        try:
            await asyncio.wait_for(self._open(), GREETING_S)
            self.opened_ms = self._heard_ms = self._clock.now()
            self._outbox.set_open(True)
            for work in (self._read(), self._write(), self._look()):
                tasks.append(asyncio.create_task(work))
            await self._end.wait()
            raise OSError(self._why)
        except asyncio.TimeoutError:
            raise OSError("it does not answer") from None
        finally:
            self._outbox.set_open(False)
            for task in tasks:
                task.cancel()
            if self._writer is not None:
                await self._writer.wait_closed()  # this is what closes; a board has few sockets

    async def _open(self):
        at = self._settings
        if at.TLS:
            import ssl

            context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
            if at.TLS_CA_FILE:
                context.verify_mode = ssl.CERT_REQUIRED
                context.load_verify_locations(cafile=at.TLS_CA_FILE)
            else:
                context.verify_mode = ssl.CERT_NONE
            opening = asyncio.open_connection(at.BROKER_HOST, at.BROKER_PORT, context, at.BROKER_HOST)
        else:
            opening = asyncio.open_connection(at.BROKER_HOST, at.BROKER_PORT)
        self._reader, self._writer = await opening
        online = self._topic + "online"
        await self._send(
            packets.connect(self._client_id, KEEP_ALIVE_S, at.BROKER_USER, at.BROKER_PASSWORD, online, b"0")
        )
        first, body = await self._packet()
        if first != packets.CONNACK or len(body) != 2:
            raise OSError("it does not speak MQTT")
        if body[1]:
            raise OSError(packets.REFUSED.get(body[1], f"it refuses with {body[1]}"))
        await self._send(packets.subscribe(self._topic + "command"))
        while True:  # a retained command may come before the answer
            first, body = await self._packet()
            if first == packets.SUBACK:
                break
        if body[2] & 0x80:
            raise OSError(f"it refuses the topic {self._topic}command")
        await self._send(packets.publish(online, b"1", True))

    async def _send(self, data):
        self._writer.write(data)
        await self._writer.drain()

    async def _packet(self):
        """First byte and body of the next packet; of one that is too long the head."""
        first = (await self._reader.readexactly(1))[0]
        length = shift = 0
        while True:
            byte = (await self._reader.readexactly(1))[0]
            length |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
            if shift > 21:
                raise OSError("it does not speak MQTT")
        if length <= MOST_BYTES:
            return first, await self._reader.readexactly(length) if length else b""
        head = await self._reader.readexactly(MOST_BYTES)
        left = length - MOST_BYTES
        while left:
            left -= len(await self._reader.readexactly(min(left, 256)))
        # The head still has the number that the broker wants to have back; lines in it prove themselves.
        return first, head

    async def _read(self):
        try:
            while True:
                first, body = await self._packet()
                self._heard_ms = self._clock.now()
                if first & 0xF0 == packets.PUBLISH:
                    _topic, payload, number, retained = packets.message(first, body)
                    if number:
                        self._urgent.append(packets.puback(number))
                    # A retained command is one of another day: it would sound at each new connection.
                    if not retained:
                        self._hear(payload)
        except (OSError, EOFError, IndexError) as err:
            self._over(f"the connection is lost ({err})")

    async def _write(self):
        try:
            while True:
                data = self._urgent.pop(0) if self._urgent else self._line()
                if data is None:
                    await asyncio.sleep_ms(5)
                    continue
                self._writing_ms = self._clock.now()
                await self._send(data)
                self._writing_ms = None
        except OSError as err:
            self._over(f"the connection is lost ({err})")

    def _line(self):
        line = self._outbox.take()
        if line is None:
            return None
        return packets.publish(self._topic + ("reading" if line.startswith(b"uv1,") else "answer"), line[:-1])

    async def _look(self):
        """Ping in time, and give up what is dead."""
        pinged_ms = 0
        while True:
            await asyncio.sleep_ms(LOOK_MS)
            now = self._clock.now()
            if not self._still_on():
                return self._over("the network is gone")
            if now - self._heard_ms > KEEP_ALIVE_S * 1000:
                return self._over("it does not answer any more")
            if self._writing_ms is not None and now - self._writing_ms > STUCK_MS:
                return self._over("it takes nothing any more")
            if now - max(self._heard_ms, pinged_ms) > KEEP_ALIVE_S * 500:
                pinged_ms = now
                self._urgent.append(packets.PINGREQ)

    def _over(self, why):
        self._why = why
        self._end.set()
