"""At hand: the exposures of a bench, by id, and by the sensor whose light they lie in. Pure."""

from __future__ import annotations

from collections import UserDict
from collections.abc import Callable

from .exposure import Exposure


class AtHand(UserDict[int, Exposure]):
    """Exposures by id, in the order in which they came. touched: told the sensor of each that comes or goes.

    A line asks for those of its own sensor alone, so that it costs no more where others have many.
    """

    def __init__(self, touched: Callable[[str], None]) -> None:
        super().__init__()
        self._touched = touched
        self._of: dict[str, tuple[Exposure, ...]] = {}

    def of(self, sensor: str) -> tuple[Exposure, ...]:
        """Those of one sensor, in the order in which they came."""
        return self._of.get(sensor, ())

    def __setitem__(self, number: int, exposure: Exposure) -> None:
        super().__setitem__(number, exposure)
        self._sort(exposure.plan.sensor)

    def __delitem__(self, number: int) -> None:
        sensor = self.data[number].plan.sensor
        super().__delitem__(number)
        self._sort(sensor)

    def _sort(self, sensor: str) -> None:
        self._of[sensor] = tuple(e for e in self.data.values() if e.plan.sensor == sensor)
        self._touched(sensor)
