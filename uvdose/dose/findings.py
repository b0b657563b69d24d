"""What can be wrong with a sensor's values, in words: what is seen, what it does to the dose, what to do."""

from __future__ import annotations

import msgspec


class Finding(msgspec.Struct, frozen=True):
    """A fault of the values, in words: what is seen; what it does to the dose; what to do."""

    seen: str
    effect: str
    mend: str

    @property
    def line(self) -> str:
        return f"{self.seen}: {self.effect}; {self.mend}"


FINDINGS = {
    "saturated": Finding("at full scale", "the dose is a lower bound",
                         "lay diffuser over the sensor, tip it or lower its gain"),
    "frozen": Finding("the value stands still as it never did before", "the light from here on counts as missing",
                      "restart the board; if the light was good, nothing need be done when it moves again"),
    "noisy": Finding("the value jumps about more than light does", "the dose is the mean, its interval is wider",
                     "look at wiring, supply and grounding"),
    "negative": Finding("below its zero by more than its noise", "it is counted as it is, and lowers the dose",
                        "cover the sensor and take its zero again"),
    "no-light": Finding("sees no light at all, though it was bright a moment ago", "nothing is counted while so",
                        "is it covered, its wire off, or the lamp out?"),
    "out-of-range": Finding("more ultraviolet than sun or lamp box gives", "it is counted as it is",
                            "check scale and unit in the settings"),
    "leapt": Finding("its register rose by more than the strongest light gives",
                     "that stretch is bridged up to 60 s, else missing", "look at the node's supply and its memory"),
}

ONLY_IN_LIGHT = frozenset({"no-light"})  # no fault where no print lies in the light
