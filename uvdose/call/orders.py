"""Acts over MQTT, where they are switched on: each command is taken once, and answered.

The broker alone says who may publish there; nothing in a command proves who sent it. A retained command is an old one,
and one whose id was taken already is answered again without being done again, also after a restart of the daemon.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, Literal, Protocol

import msgspec

from ..asked import StartRequest, When
from ..messages import Taken
from ..model import Refusal

MOST_KEPT = 256
MOST_WAITING = 32
MAX_COMMAND = 4096
MAX_ID = 64
MOST_NUMBER = 10**10

Publish = Callable[[str, bytes, bool], object]  # topic, payload, retain


class Acts(Protocol):
    """What a command can ask for."""

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure."""

    async def act(self, exposure: int, act: str, when: When) -> Taken:
        """hold, resume, finish, again or undo."""

    async def quiet(self, exposure: int | None) -> Taken:
        """Silence the present calls."""


class Command(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One command. id: the sender's own, never used for another. exposure: not for start; quiet without one: all calls.

    start: what `start` begins, as for the API.
    """

    id: str
    act: Literal["start", "hold", "resume", "finish", "again", "undo", "quiet"]
    exposure: int | None = None
    start: StartRequest | None = None


class Orders:
    """Commands of one bench. To be made, and called, in the daemon's loop; `hear` may be called from any thread.

    taken: ids of the last run. keep: writes ids down; it must not raise. say: prints one line.
    """

    def __init__(
        self, bench: str, acts: Acts, publish: Publish, taken: list[str], keep: Callable[[list[str]], None],
        say: Callable[[str], None],
    ) -> None:  # fmt: skip
        self.topic = f"uvdose/{bench}/command"
        self._answers = f"uvdose/{bench}/answer"
        self._acts = acts
        self._publish = publish
        self._keep = keep
        self._say = say
        self._taken: dict[str, dict[str, Any] | None] = dict.fromkeys(taken[-MOST_KEPT:])
        self._loop = asyncio.get_running_loop()
        self._waiting: asyncio.Queue[bytes] = asyncio.Queue(MOST_WAITING)

    def hear(self, payload: bytes, retained: bool) -> None:
        """A message on the topic."""
        if not retained:
            # Of what is too long no more is kept than shows it: those that wait may be many megabytes each.
            self._loop.call_soon_threadsafe(self._put, payload[: MAX_COMMAND + 1])

    def _put(self, payload: bytes) -> None:
        if self._waiting.full():
            self._answer({"id": None, "refused": "too many commands at once: wait for the answers", "code": 4})
        else:
            self._waiting.put_nowait(payload)

    async def work(self) -> None:
        """Take commands, one after the other, for ever."""
        while True:
            await self.take(await self._waiting.get())

    async def take(self, payload: bytes) -> None:
        """Take one command, and answer it."""
        if len(payload) > MAX_COMMAND:
            self._answer({"id": None, "refused": f"the command is longer than {MAX_COMMAND} bytes", "code": 2})
            return
        try:
            command = msgspec.json.decode(payload, type=Command)
        except (msgspec.MsgspecError, UnicodeDecodeError) as err:
            self._answer({"id": None, "refused": f"this is no command: {err}", "code": 2})
            return
        if not (0 < len(command.id) <= MAX_ID and command.id.isprintable()):
            self._answer({"id": None, "refused": f"id: give 1 to {MAX_ID} printable characters", "code": 2})
            return
        if command.exposure is not None and not 0 <= command.exposure < MOST_NUMBER:
            self._answer({"id": command.id, "refused": "exposure: give its number, such as 12", "code": 2})
            return
        if command.id in self._taken:
            again = {"id": command.id, "refused": "this id was taken already; each command needs its own", "code": 4}
            self._answer(self._taken[command.id] or again)
            return
        self._remember(command.id)
        answer: dict[str, Any] = {"id": command.id}
        try:
            answer |= msgspec.to_builtins(await self._do(command))
        except Refusal as err:
            answer |= {"refused": err.line, "code": err.code}
        except Exception as err:  # as at a request of the API: the daemon goes on
            self._say(f"a command over MQTT failed: {err!r}")
            answer |= {"refused": "the daemon failed at this command; its own log says why", "code": 1}
        self._taken[command.id] = answer
        self._answer(answer)

    async def _do(self, command: Command) -> Taken:
        if command.act == "start":
            if command.start is None:
                raise Refusal('start: say what begins, such as "start": {"target": "blue"}', 2)
            return await self._acts.start(command.start)
        if command.act == "quiet":
            return await self._acts.quiet(command.exposure)
        if command.exposure is None:
            raise Refusal("exposure: give its number, such as 12", 2)
        return await self._acts.act(command.exposure, command.act, When())

    def _remember(self, number: str) -> None:
        self._taken[number] = None
        while len(self._taken) > MOST_KEPT:
            del self._taken[next(iter(self._taken))]
        self._keep(list(self._taken))

    def _answer(self, answer: dict[str, Any]) -> None:
        self._publish(self._answers, msgspec.json.encode(answer), False)
