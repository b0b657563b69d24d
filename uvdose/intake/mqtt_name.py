"""Whose a bench's name is at a broker: looked for before a word is said, held, or left to another. Pure; time comes in.

Each process has a run of its own, drawn at random, since a home that was copied has the same id as the one it was
copied from. A claim is `{"run": ..., "held_s": ...}` on `uvdose/<bench>/here`, never retained; without held_s it is a
question. Who holds the name answers at once. Who hears a holder says no more under it, until nothing was heard of that
one for a minute. Two that hold it at once, as after a broken network, go by who has held it longer.
"""

from __future__ import annotations

import msgspec

LOOK_S = 1.0  # so long an answer is waited for
SAY_EVERY_S = 1.0
FREE_AFTER_S = 60.0  # so long nothing must be heard of who held it
SAME_S = 5.0  # held for as long, as far as a message on its way tells: the lower run keeps it
CONTEST_S = 3.0  # where both still hold it after so long, each takes itself for the elder: the lower run keeps it
ANSWER_EVERY_S = 0.1  # else two that both hold it would answer each other without end
MOST_BYTES, MOST_RUN = 256, 32


class Claim(msgspec.Struct, frozen=True):
    """held_s: how long its run has held the name; None for who asks."""

    run: str
    held_s: float | None = None


def read_claim(payload: bytes) -> Claim | None:
    """A claim out of a message; None for what is none."""
    if len(payload) > MOST_BYTES:
        return None
    try:
        claim = msgspec.json.decode(payload, type=Claim)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None
    return claim if 0 < len(claim.run) <= MOST_RUN else None


class Name:
    """One run's view of it. All times are seconds of one monotonic clock."""

    def __init__(self, run: str) -> None:
        self.run = run
        self.held = False
        self.left = False
        """Another has it."""
        self._since_s = 0.0
        self._until_s: float | None = None
        self._heard_s = 0.0
        self._said_s = self._answered_s = 0.0
        self._contest_s: float | None = None

    def connected(self, now_s: float) -> None:
        """The broker hears us, for the first time or again. Who held the name goes on, and is told if it may not."""
        self._until_s = now_s + LOOK_S
        self._heard_s = now_s

    def lost(self) -> None:
        """The broker hears us no more."""
        self._until_s = None

    def claim(self, now_s: float) -> Claim:
        """What is to be said of it now."""
        return Claim(self.run, round(now_s - self._since_s, 3) if self.held else None)

    def hear(self, claim: Claim, now_s: float) -> bool:
        """What another said; whether it is to be answered at once."""
        if claim.run == self.run:
            return False
        if self.held:
            if not self._gives_way(claim, now_s):
                answers = claim.held_s is None or now_s - self._answered_s >= ANSWER_EVERY_S
                self._answered_s = now_s if answers else self._answered_s
                return answers
            self.held = False
        elif not self.left and claim.held_s is None and claim.run > self.run:
            return False  # both ask: the lower run gets it
        self.left = True
        self._heard_s = now_s
        return False

    def _gives_way(self, claim: Claim, now_s: float) -> bool:
        if claim.held_s is None:
            return False
        if self._contest_s is None or now_s - self._heard_s > CONTEST_S:
            self._contest_s = now_s
        self._heard_s = now_s
        if now_s - self._contest_s >= CONTEST_S:
            return claim.run < self.run
        longer_s = claim.held_s - (now_s - self._since_s)
        return claim.run < self.run if abs(longer_s) < SAME_S else longer_s > 0

    def tend(self, now_s: float) -> bool:
        """To be called about twice a second; whether a claim, or the question anew, is to be said."""
        if self._until_s is None:
            return False
        if self.left and now_s - self._heard_s >= FREE_AFTER_S:
            self.left = False
            self._until_s = now_s + LOOK_S
            return True
        if not self.held and not self.left and now_s >= self._until_s:
            self.held, self._since_s, self._said_s = True, now_s, now_s
            return True
        if self.held and now_s - self._said_s >= SAY_EVERY_S:
            self._said_s = now_s
            return True
        return False
