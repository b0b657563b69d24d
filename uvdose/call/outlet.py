"""One way out of the house for calls, with a thread of its own: whatever it does there, nobody else waits for it.

A message that fails is tried again, slower each time, until the person has acknowledged its call. A way that fails,
hangs or whose thread dies has a `trouble`, which the next message that goes through takes away.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

import msgspec

from ..clock import real_s

BOUND = 20
TRIES = 8
FIRST_AGAIN_S, LONGEST_AGAIN_S = 5.0, 60.0
GRACE_S = 2.0  # beyond its own time limit, after which a thread is given up

Key = tuple[int, str]


class Message(msgspec.Struct, frozen=True):
    """What to tell: key says of which call, so that it can be taken back."""

    key: Key
    title: str
    body: str


class WayFault(Exception):
    """A message did not go out: one line, without anything that is secret."""

    def __init__(self, line: str) -> None:
        super().__init__(line)
        self.line = line


class _Job:
    """One message on its way. done: told once how it went, and then it is not tried again."""

    __slots__ = ("done", "due_s", "hushed", "message", "tries")

    def __init__(self, message: Message, due_s: float, done: Callable[[str], None] | None) -> None:
        self.message = message
        self.due_s = due_s
        self.done = done
        self.hushed = False
        self.tries = 0


class Outlet:
    """`send(message)` runs in the outlet's thread, raises `WayFault`, and ends by itself within limit_s.

    changed(name, line): the way has come into a trouble, or out of it (an empty line); called from any thread.
    """

    def __init__(
        self, name: str, send: Callable[[Message], None], limit_s: float, changed: Callable[[str, str], None]
    ) -> None:
        self.name = name
        self._send = send
        self._limit_s = limit_s
        self._changed = changed
        self._news = threading.Condition()
        self._waiting: list[_Job] = []
        self._job: _Job | None = None
        self._since_s = 0.0
        self._closed = False
        self._trouble = ""
        with self._news:
            self._thread = self._begin()

    @property
    def trouble(self) -> str:
        """Why calls do not go out this way; empty while they do, as far as is known."""
        return self._trouble

    def give(self, message: Message, done: Callable[[str], None] | None = None) -> None:
        """Hand a message over; never waits. Where too many wait, the oldest gives way.

        done: hears once, from any thread, what went wrong; an empty line when nothing did.
        """
        with self._news:
            while len(self._waiting) >= BOUND:
                gone = self._waiting.pop(0)
                if gone.done is not None:
                    gone.done("too many messages wait")
            self._waiting.append(_Job(message, real_s(), done))
            self._news.notify_all()

    def hush(self, key: Key) -> None:
        """The call is done with: what was not sent yet need not go any more."""
        with self._news:
            self._waiting = [job for job in self._waiting if job.message.key != key]
            if self._job is not None and self._job.message.key == key:
                self._job.hushed = True

    def look(self) -> None:
        """See that the thread lives and turns; another takes its place where it does not. Cheap, to be called often."""
        with self._news:
            if self._closed:
                return
            dead = not self._thread.is_alive()
            stuck = self._job is not None and real_s() - self._since_s > self._limit_s + GRACE_S
            if not dead and not stuck:
                return
            job, self._job = self._job, None
            self._thread = self._begin()
        why = "its thread had died and was begun anew" if dead else f"it did not end within {self._limit_s:g} s"
        self._settle(job, why)

    def fail(self, line: str) -> None:
        """It is known beforehand that nothing can go out."""
        self._settle(None, line)

    def close(self) -> None:
        """No more; a message under way is not waited for."""
        with self._news:
            self._closed = True
            self._news.notify_all()

    # -- in the thread ---------------------------------------------------------------------------------------

    def _begin(self) -> threading.Thread:
        thread = threading.Thread(target=self._run, name=f"call-{self.name}", daemon=True)
        thread.start()
        return thread

    def _run(self) -> None:
        me = threading.current_thread()
        while (job := self._next(me)) is not None:
            line = ""
            try:
                self._send(job.message)
            except WayFault as fault:
                line = fault.line
            except Exception as err:
                line = f"it failed with {type(err).__name__}"  # not with its text, in which an address may stand
            with self._news:
                if self._thread is not me:
                    return  # given up meanwhile, and another goes on
                self._job = None
            self._settle(job, line)

    def _next(self, me: threading.Thread) -> _Job | None:
        """The next message that is due, once there is one; None to end."""
        with self._news:
            while not self._closed and self._thread is me:
                now_s = real_s()
                for job in self._waiting:
                    if job.due_s <= now_s:
                        self._waiting.remove(job)
                        self._job, self._since_s = job, now_s
                        return job
                due_s = min((job.due_s for job in self._waiting), default=None)
                self._news.wait(None if due_s is None else max(0.001, due_s - now_s))
        return None

    def _settle(self, job: _Job | None, line: str) -> None:
        """How it went: told to whoever waits, tried again later, and told on where it is news."""
        if job is not None and job.done is not None:
            job.done(line)
        elif job is not None and line:
            job.tries += 1
            with self._news:
                if not job.hushed and job.tries < TRIES and len(self._waiting) < BOUND:
                    job.due_s = real_s() + min(LONGEST_AGAIN_S, FIRST_AGAIN_S * 2.0 ** (job.tries - 1))
                    self._waiting.append(job)
                    self._news.notify_all()
        was, self._trouble = self._trouble, line
        if bool(was) != bool(line):
            self._changed(self.name, line)
