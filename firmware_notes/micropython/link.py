"""Wi-Fi and broker, tried for ever; what goes wrong is said once in words and is never the counting's concern."""

import asyncio

from mqtt import Session
from outbox import Waits

JOIN_MS = 20_000
STEADY_MS = 10_000


class Link:
    """hear: called with each command's payload. draw: gives random bits."""

    def __init__(self, settings, wlan, client_id, outbox, clock, hear, draw):
        self._settings, self._wlan, self._client_id = settings, wlan, client_id
        self._outbox, self._clock, self._hear = outbox, clock, hear
        self._waits = Waits(500, int(settings.LONGEST_WAIT_S * 1000), draw)
        self._stage = "wifi"
        self._said = ""

    def state(self):
        """What is missing: "wifi", "broker", or "" when all is well."""
        return "" if self._outbox.open else self._stage

    async def keep(self):
        """Never ends."""
        broker = f"{self._settings.BROKER_HOST}:{self._settings.BROKER_PORT}"
        while True:
            session = Session(
                self._settings, self._client_id, self._outbox, self._clock, self._hear, self._wlan.isconnected
            )
            try:
                self._stage = "wifi"
                if not self._wlan.isconnected():
                    await self._join()
                self._stage = "broker"
                await session.run()
            except Exception as err:  # whatever it is, a node goes on
                self._say("{}: {}".format(broker if self._stage == "broker" else "wifi", err))
            # A broker that takes us in and throws us out again is not to be asked twice a second.
            if session.opened_ms is not None and self._clock.now() - session.opened_ms > STEADY_MS:
                self._waits.reset()
            await asyncio.sleep_ms(self._waits.next())

    async def _join(self):
        name = self._settings.WIFI_NAME
        self._wlan.active(True)
        try:
            self._wlan.disconnect()  # a try that is still under way on some ports refuses the next one
        except OSError:
            pass  # none is
        self._wlan.connect(name, self._settings.WIFI_PASSWORD)
        end_ms = self._clock.now() + JOIN_MS
        while not self._wlan.isconnected():
            if self._clock.now() > end_ms:
                raise OSError(f"{name} does not let us in: see to the name, the password and the distance")
            await asyncio.sleep_ms(100)

    def _say(self, words):
        if words != self._said:
            self._said = words
            print(words)
