"""Calls that nobody has answered yet, though a buzzer or a terminal may have told them: pages sound these on."""

from __future__ import annotations

from ..exposure.calls import REACHED
from ..messages import EventDoc

# What the person does to an exposure answers its calls; a mended one is called anew where it must be.
ANSWERS = {"quieted", "held", "resumed", "finished", "voided", "card", "mended"}


class Unanswered:
    """By exposure, the newest call last. A call gives way to the next one, but the target's stays."""

    def __init__(self) -> None:
        self._calls: dict[int, list[str]] = {}

    def ring(self, exposure: int, key: str) -> None:
        """A call was made."""
        self._calls[exposure] = [k for k in self._calls.get(exposure, ()) if k == REACHED != key] + [key]

    def tell(self, event: EventDoc) -> None:
        """Something happened, which may be the answer."""
        if event.event in ANSWERS and event.exposure is not None:
            self._calls.pop(event.exposure, None)

    def of(self, exposure: int) -> list[str]:
        """The calls of one exposure."""
        return self._calls.get(exposure, [])

    def exposures(self) -> list[int]:
        """Those with a call that is not answered."""
        return list(self._calls)
