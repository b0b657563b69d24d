"""A recording as a table: which column is what, and each row as a reading at its time, in order and once.

Two kinds are known. What `uvdose export --what readings` wrote comes back as it was, to the microsecond and the bit:
its dose times, registers, and the settings of the sensor of then. Any other table has a time and a value; its dose time
is the time since 1970 UTC.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from typing import BinaryIO

import msgspec

from ..config import MOST_VALUE, UNITS, SensorSettings
from ..dose.response import Identity
from ..dose.timebase import after_32
from ..model import MeanReading, MomentReading, Reading, Refusal, RegisterReading
from ..units import US_PER_S, plain_unit
from .lines import Table, bare
from .own import checked_identity, is_own, own_rows
from .times import reader_of, zone_of

TIME_NAMES = ("time", "utc", "timestamp", "datetime", "date_time", "unix", "unix_time")
NO_NUMBER = ("", "-", "nan", "na", "n/a", "null", "none")
STAMPED = {"start": 1.0, "middle": 0.5, "end": 0.0}

TWICE, LATE, NO_VALUE, BELOW, OVERLAP = "twice", "late", "no number", "below zero", "overlapping"


class Asked(msgspec.Struct, frozen=True):
    """How a person says that a file is to be read. sensor: the name that its readings get.

    of: which sensor of a file that holds several. missing: texts that stand for "no reading". means_s: each value is
    the mean of so many seconds; stamped: where in them its time lies.
    """

    sensor: str
    of: str | None = None
    time_column: str | None = None
    value_column: str | None = None
    unit: str | None = None
    scale: float | None = None
    zero: float | None = None
    full_scale: float | None = None
    timezone: str | None = None
    decimal_comma: bool = False
    missing: tuple[str, ...] = ()
    means_s: float | None = None
    stamped: str | None = None
    light: str | None = None


class Brought(msgspec.Struct, frozen=True, gc=False):
    """One reading at its dose time, with its wall label and the settings that it came under."""

    t_us: int
    wall_us: int
    identity: Identity
    reading: Reading


class Recording:
    """A file, opened and understood. `rows` gives its readings once, `left_out` counts what was not taken or is odd.

    columns: what of the file is read, for the record; empty until the first reading tells. own: it was written by
    `export`. how: the figures and times that it is read by; empty for an export. Raises `Refusal`.
    """

    def __init__(self, handle: BinaryIO, asked: Asked) -> None:
        self._table = Table(handle)
        self._asked = asked
        self.left_out: Counter[str] = Counter()
        self.own = is_own(self._table.names)
        self.how = ""
        if self.own:
            _refuse_needless(asked)
            self.columns = ""
            if asked.of is not None:
                self._found(asked.of)
            self._source = own_rows(self._table, asked.sensor, asked.of, self._found)
        else:
            self._source = self._foreign()
            self.columns = self._table.names[self._value]
            self.how = self._told()

    def rows(self) -> Iterator[Brought]:
        """Every reading that is new and in order. Raises `Refusal`, also where there is none in the end."""
        last: Brought | None = None
        kept = 0
        for t_us, wall_us, identity, reading in self._source:
            row = Brought(t_us, wall_us, identity, reading)
            if last is not None and (why := self._why_not(last, row)):
                self.left_out[why] += 1
                continue
            if last is not None and isinstance(reading, MeanReading) and t_us - reading.span_us < last.t_us:
                self.left_out[OVERLAP] += 1
            kept += 1
            last = row
            yield row
        if not kept:
            raise Refusal("the file holds no reading" + (
                f": {self.left_out[NO_VALUE]} rows without a number" if self.left_out[NO_VALUE] else ""
            ))
        if self.left_out[LATE] > kept:
            raise Refusal("the times in the file run backwards: sort it, the oldest reading first")

    def _found(self, sensor: str) -> None:
        self.columns = f"readings of {sensor}"

    def _why_not(self, last: Brought, row: Brought) -> str | None:
        """Why a reading is left out. Of our own, several may lie at the same moment: the journal had each once."""
        a, b = last.reading, row.reading
        if isinstance(a, RegisterReading) and isinstance(b, RegisterReading) and a.boot == b.boot:
            if a.seq == b.seq:
                return TWICE
            if after_32(b.seq, a.seq) < 0:
                return LATE
        if row.t_us < last.t_us:
            return LATE
        if row.t_us > last.t_us or isinstance(b, RegisterReading):
            return None
        same = isinstance(a, MomentReading) and a.seq is not None and a.seq == b.seq
        return TWICE if same or not self.own else None

    # -- any table ---------------------------------------------------------------------------------------------

    def _foreign(self) -> Iterator[tuple[int, int, Identity, Reading]]:
        asked, names = self._asked, self._table.names
        if asked.of is not None:
            raise Refusal("--of goes with a file that `uvdose export --what readings` wrote; leave it out", 2)
        if asked.time_column is not None:
            self._time = self._table.column(asked.time_column)
        else:
            known = [i for i, name in enumerate(names) if bare(name).lower() in TIME_NAMES]
            if len(known) != 1:
                raise Refusal(f"say with --time-column which column is the time; it has {self._table.listed}", 2)
            self._time = known[0]
        if asked.value_column is not None:
            self._value = self._table.column(asked.value_column)
        elif len(names) == 2:
            self._value = 1 - self._time
        else:
            raise Refusal(f"say with --value-column which column is the light; it has {self._table.listed}", 2)
        if self._value == self._time:
            raise Refusal("time and value cannot be the same column", 2)
        self._identity = _identity_asked(asked, names[self._value])
        self._span_us, self._shift_us = _means(asked)
        self._zone = zone_of(asked.timezone)
        return self._foreign_rows()

    def _told(self) -> str:
        """Whatever the same column could come to other readings by."""
        i, asked = self._identity, self._asked
        figures = {"unit": i.unit, "scale": i.scale, "zero": i.zero, "full_scale": i.full_scale, "light": i.light}
        times = {"time": self._table.names[self._time], "timezone": asked.timezone, "means_s": asked.means_s,
                 "stamped": asked.stamped}  # fmt: skip
        texts = {"decimal_comma": asked.decimal_comma or None, "missing": " ".join(asked.missing) or None}
        said = {key: value for key, value in (figures | times | texts).items() if value is not None}
        return msgspec.json.encode(said).decode()

    def _foreign_rows(self) -> Iterator[tuple[int, int, Identity, Reading]]:
        read_time: Callable[[str], int] | None = None
        need = max(self._time, self._value)
        missing = {*NO_NUMBER, *(text.strip().lower() for text in self._asked.missing)}
        zero, span_us = self._identity.zero, self._span_us
        for row in self._table.rows():
            if len(row) <= need:
                raise self._fault(f"it has {len(row)} columns, the header {len(self._table.names)}")
            when = row[self._time].strip()
            read_time = read_time or reader_of(when, self._zone)
            try:
                t_us = read_time(when) + self._shift_us
            except ValueError as err:
                raise self._fault(str(err)) from None
            told = row[self._value].strip()
            if told.lower() in missing:
                self.left_out[NO_VALUE] += 1
                continue
            value = self._number(told)
            if value < zero:
                self.left_out[BELOW] += 1
            yield t_us, t_us, self._identity, (
                MeanReading(value, None, None, span_us) if span_us else MomentReading(value)
            )

    def _number(self, told: str) -> float:
        if self._asked.decimal_comma:
            told = told.replace(",", ".")
        try:
            value = float(told)
        except ValueError:
            comma = told.count(",") == 1 and told.replace(",", "").strip("+-").isdigit()
            mend = "; decimal commas are read with --decimal-comma" if comma else ""
            raise self._fault(f"{told!r} is no number{mend}") from None
        if not abs(value) <= MOST_VALUE or "_" in told:
            raise self._fault(f"{told!r} is no reading")
        return value

    def _fault(self, line: str) -> Refusal:
        shown = line if len(line) <= 200 else f"{line[:200]}…"
        return Refusal(f"line {self._table.line}: {shown}")


def _refuse_needless(asked: Asked) -> None:
    for field in ("time_column", "value_column", "unit", "scale", "zero", "full_scale", "timezone", "means_s",
                  "stamped", "light"):  # fmt: skip
        if getattr(asked, field) is not None:
            option = field.removesuffix("_s").replace("_", "-")
            raise Refusal(f"the file is an export and says it all by itself: leave --{option} out", 2)


def _identity_asked(asked: Asked, column: str) -> Identity:
    told = column[len(bare(column)) :].strip().strip("[]()")
    unit = plain_unit(asked.unit or told)
    if unit not in UNITS:
        where = f"unit {asked.unit!r}" if asked.unit is not None else f"the unit of column {column!r} is not known"
        raise Refusal(f"{where}: say --unit, one of {', '.join(UNITS)}", 2)
    return checked_identity(SensorSettings(
        name=asked.sensor, link="recording", file="-", format="csv", unit=unit, scale=asked.scale,
        zero=asked.zero or 0.0, full_scale=asked.full_scale, field=column, light=asked.light or "sun",
    ), 2)  # fmt: skip


def _means(asked: Asked) -> tuple[int, int]:
    """How long each mean is, 0 for momentary values; and from its time to the end of it. Microseconds."""
    if asked.means_s is None and asked.stamped is None:
        return 0, 0
    if asked.means_s is None or asked.stamped not in STAMPED:
        raise Refusal(
            f"means: give both --means, such as 60s, and --stamped, one of {', '.join(STAMPED)}: where in it its time"
            " lies", 2
        )
    if not 0.001 <= asked.means_s <= 3600:
        raise Refusal(f"means of {asked.means_s:g} s: give a stretch up to an hour", 2)
    span_us = round(asked.means_s * US_PER_S)
    return span_us, round(span_us * STAMPED[asked.stamped])
