"""Verdicts: what dry prints say about the dose, and apart from it about the negative.

Exposure and contrast are easily confused, so two questions are asked. The tone under the clear film tells the dose.
The highlights lie under the densest parts of the negative; they point to the negative and never move the dose.
Nothing here changes a target: `propose` says what it would be, and why.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec
import numpy as np

from ..dose.uncertainty import Z95
from ..model import Refusal
from ..units import STOP_LOG10
from .estimate import Estimate
from .ordinal import Eye, Posterior, Seen, own_habits, posterior, prior_scale

Tone = Literal["light", "right", "dark"]
Highlights = Literal["blocked", "right", "blank"]
TONES = ("light", "right", "dark")

# Sheets of one coat differ by about so much: a smaller correction would be lost among them.
MATTERS_STOPS = 1 / 12
MOST_STOPS = 5.0
APART_STOPS = 8.0

ADVICE: dict[str, str] = {
    "blocked": "highlights blocked: tone lies over all of them and they run together, so the negative's densest parts "
    "are too thin or too alike for this paper; give it more density and more difference there, and leave the dose",
    "blank": "highlights blank: no tone at all there, so the negative's densest parts hold back more than this paper "
    "can show once its darkest tone is right; make them thinner or use a process of longer scale, and leave the dose",
    "right": "highlights right: the negative fits this paper",
}
AGAIN = {
    ("light", "blank"): "; too little dose blanks them as well, so judge them again when the dark tone is right",
    ("dark", "blocked"): "; too much dose fills them as well, so judge them again when the dark tone is right",
}


class Prior(msgspec.Struct, frozen=True):
    """What the calibration print proved: dose in the target's unit, half of its 95 % interval in stops (0: unknown)."""

    dose: float
    half_stops: float = 0.0

    @classmethod
    def of(cls, estimate: Estimate) -> Prior:
        """From a dose with its interval; the wider side counts."""
        for value in (estimate.low, estimate.best, estimate.high):
            _check_dose(value)
        half = max(math.log2(estimate.best / estimate.low), math.log2(estimate.high / estimate.best))
        return cls(estimate.best, half)


class Judgement(msgspec.Struct, frozen=True):
    """What a person, or a densitometer, says of one dry print.

    dose: what it got, in the target's unit; dose_u_stops: its standard uncertainty. tone: of the clear film's dark
    tone. stops: how many stops too dark (+) or too light (-), None when only the word was said; stops_u: standard
    uncertainty of that, None for a person's guess (an eighth of a stop, a quarter of what was told, and rounding).
    highlights: apart from it. At least one of tone, stops and highlights is given.
    """

    dose: float
    dose_u_stops: float = 0.0
    tone: Tone | None = None
    stops: float | None = None
    highlights: Highlights | None = None
    stops_u: float | None = None


class Curve(msgspec.Struct, frozen=True):
    """A paper's curve from its calibration print: log10 doses, rising, and densities. full_log: where full tone begins,
    the tone that the clear film should have."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    full_log: float

    @property
    def wanted(self) -> float:
        """The density where full tone begins."""
        return float(np.interp(self.full_log, self.x, self.y))

    def stops_at(self, density: float) -> float | None:
        """How many stops beyond the beginning of full tone (below 0: short of it) a density lies; None off the ends."""
        rising = np.maximum.accumulate(self.y)
        if not rising[0] < density < rising[-1]:
            return None
        return (float(np.interp(density, rising, self.x)) - self.full_log) / STOP_LOG10


class Proposal(msgspec.Struct, frozen=True):
    """The likely right dose with its 95 % interval, in the target's unit, and its distance from the target in stops.

    change: whether that is enough to matter. sentence: the whole in one sentence. advice: on the negative, from the
    newest print whose highlights were judged; empty when none was.
    """

    dose: float
    low: float
    high: float
    change_stops: float
    sentence: str
    change: bool
    advice: str = ""


def propose(
    target_dose: float, prior: Prior | Estimate | None, judgements: Sequence[Judgement], eye: Eye | None = None,
    bleaches: bool = False, unit: str = "",
) -> Proposal:
    """The dose that the judged prints of one target point to. Nothing is changed.

    prior: of the calibration print; None when the target was not proved with one, and then it lies at the target.
    A change is proposed from 1/12 stop on, which is how much sheets of one coat differ. bleaches: light makes this
    process paler (plant juice), so that too dark means too little; its highlights lie under the clear film and say
    nothing of the negative. unit: of the doses, as it is read, for the sentence. Raises `Refusal` (code 2).
    """
    _check_dose(target_dose)
    known = Prior.of(prior) if isinstance(prior, Estimate) else prior or Prior(target_dose)
    centre, scale, seen = _group(known, judgements, bleaches)
    found = posterior(centre, scale, seen, eye or Eye())
    dose, low, high = (2.0**x for x in (found.mean, found.low, found.high))
    change_stops = found.mean - math.log2(target_dose)
    change = bool(seen) and abs(change_stops) >= MATTERS_STOPS
    judged = [j for j in judgements if j.highlights is not None and not bleaches]
    sentence = _sentence(target_dose, seen, found, change_stops, change, bleaches, unit)
    return Proposal(
        dose, low, high, change_stops, sentence, change,
        advice(judged[-1].highlights, judged[-1].tone) if judged else "",
    )  # fmt: skip


def advice(highlights: Highlights | None, tone: Tone | None = None) -> str:
    """What the highlights say of the negative, in one sentence. They never move the dose."""
    if highlights is None:
        return ""
    return ADVICE[highlights] + AGAIN.get((tone or "", highlights), "")


def by_density(
    dose: float, density: float, curve: Curve, density_u: float = 0.02, dose_u_stops: float = 0.0
) -> Judgement:
    """A judgement from the measured density of the clear film's tone, by the paper's own curve.

    Not by its slope at full tone: there it levels out, so that by the slope a print one stop too light would read as
    two. density_u: standard uncertainty of the difference, 0.02 for a desk densitometer on a matt sheet (common
    practice, no source); the flatter the curve, the less the stops are worth. Beyond the curve's ends a density says
    too dark or too light, and not by how much. Raises `Refusal` where it says nothing.
    """
    if not all(map(math.isfinite, (density, density_u))) or density_u <= 0:
        raise Refusal("densities are numbers such as 1.42, and their uncertainty is above zero", 2)
    below, stops, above = (curve.stops_at(d) for d in (density - density_u, density, density + density_u))
    if stops is not None and abs(stops) <= MOST_STOPS:
        sides = [abs(end - stops) for end in (below, above) if end is not None]
        if sides and max(sides) > 0:
            return Judgement(dose, dose_u_stops, stops=stops, stops_u=max(sides))
    off = density - curve.wanted
    if abs(off) < density_u:
        raise Refusal("the paper's curve is too flat at full tone for a density to tell the dose: judge by eye", 2)
    return Judgement(dose, dose_u_stops, tone="dark" if off > 0 else "light")


def own_eye(histories: Sequence[tuple[Prior, Sequence[Judgement]]]) -> Eye:
    """The eye of a person who has judged at least eight prints, of one or more targets: how this person scatters, and
    how far off still is right, is told from these prints. With fewer, the usual eye stays. A
    target whose prints cannot be judged together is passed over: it must not keep the others from being judged."""
    groups = []
    for prior, judgements in histories:
        try:
            groups.append(_group(prior, judgements))
        except Refusal:
            continue
    return own_habits(groups, Eye())


def _group(
    prior: Prior, judgements: Sequence[Judgement], bleaches: bool = False
) -> tuple[float, float, list[Seen]]:
    _check_dose(prior.dose)
    if not (math.isfinite(prior.half_stops) and 0 <= prior.half_stops <= MOST_STOPS):
        raise Refusal(f"the calibration print is known to {prior.half_stops:g} stops only: make a new one", 2)
    centre = math.log2(prior.dose)
    told = [s for s in (_seen(j, bleaches) for j in judgements) if s is not None]
    far = next((s for s in told if abs(s.log2_dose - centre) > APART_STOPS), None)
    if far is not None:
        raise Refusal(f"a print at {_figure(2.0**far.log2_dose)} is over {APART_STOPS:g} stops from the calibrated "
                      f"{_figure(prior.dose)}: it belongs to another target or unit", 2)  # fmt: skip
    return centre, prior_scale(prior.half_stops), told


def _seen(j: Judgement, bleaches: bool) -> Seen | None:
    """The judgement for the model, + for too much dose; None when it speaks of highlights alone."""
    _check_dose(j.dose)
    if j.highlights is not None and j.highlights not in ADVICE:
        raise Refusal(f"highlights {j.highlights!r}: say blocked, right or blank", 2)
    if j.tone is None and j.stops is None:
        if j.highlights is None:
            raise Refusal("say of the print: light, right or dark, and of its highlights: blocked, right or blank", 2)
        return None
    if j.tone is not None and j.tone not in TONES:
        raise Refusal(f"tone {j.tone!r}: say light, right or dark", 2)
    if not (math.isfinite(j.dose_u_stops) and 0 <= j.dose_u_stops <= MOST_STOPS):
        raise Refusal(f"uncertainty of the dose, {j.dose_u_stops:g} stops: give a number from 0 to {MOST_STOPS:g}", 2)
    side = TONES.index(j.tone) - 1 if j.tone is not None else 0
    much = -1 if bleaches else 1
    if j.stops is None:
        return Seen(math.log2(j.dose), much * side, j.dose_u_stops)
    if not abs(j.stops) <= MOST_STOPS:
        raise Refusal(f"{j.stops:g} stops off: give -{MOST_STOPS:g} to {MOST_STOPS:g}, or only the word", 2)
    if j.stops_u is not None and not 0 < j.stops_u < math.inf:
        raise Refusal(f"uncertainty {j.stops_u:g} of the stops: give a number above zero", 2)
    told = (j.stops > 0) - (j.stops < 0)
    if j.tone is not None and side != told:
        raise Refusal(f"{j.tone} and {j.stops:+g} stops contradict each other: + is too dark, - too light, 0 right", 2)
    if told == 0 and j.stops_u is None:
        return Seen(math.log2(j.dose), 0, j.dose_u_stops)
    return Seen(math.log2(j.dose), much * told, j.dose_u_stops, much * j.stops, j.stops_u)


def _check_dose(dose: float) -> None:
    if not (math.isfinite(dose) and dose > 0):
        raise Refusal(f"dose {dose:g}: give a number above zero, such as 2565", 2)


_NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]
_CALLED = {1: "too dark", 0: "right", -1: "too light"}


def _count(n: int) -> str:
    return _NUMBERS[n] if n < len(_NUMBERS) else str(n)


def _figure(dose: float) -> str:
    """A dose in at most four digits that count, without an exponent."""
    if dose <= 0:
        return "0"
    digits = 3 - math.floor(math.log10(dose))
    text = f"{round(dose, digits):.{max(0, min(digits, 12))}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _rough(dose: float) -> str:
    """The same in three digits, for what is only known so well."""
    return _figure(round(dose, 2 - math.floor(math.log10(dose))))


def _sentence(
    target: float, seen: Sequence[Seen], found: Posterior, change_stops: float, change: bool, bleaches: bool, unit: str
) -> str:
    dose, low, high = (_rough(2.0**x) for x in (found.mean, found.low, found.high))
    if not seen:
        return f"keep {_figure(target)}: no print at this target was judged yet"
    likely = f"the right dose is likely {dose}{f' {unit}' if unit else ''} ({low}-{high})"
    by = f"{abs(change_stops):.2f} stop {'less' if change_stops < 0 else 'more'} than the target now"
    told = _told(seen, change_stops, bleaches)
    if change:
        return f"{told}, so {likely}: {by}"
    return f"{told}, so keep {_figure(target)}: {likely}, and sheets of one coat differ by more than that change"


def _told(seen: Sequence[Seen], change_stops: float, bleaches: bool) -> str:
    """What was said of the prints: "two of three prints at 2565 were too dark and one right"."""
    lead = (1, 0, -1) if change_stops < 0 else (-1, 0, 1)
    groups = [(n, _CALLED[-side if bleaches else side]) for side in lead if (n := sum(s.side == side for s in seen))]
    logs = [s.log2_dose for s in seen]
    low, high = _figure(2.0 ** min(logs)), _figure(2.0 ** max(logs))
    at = f"at {low}" if low == high else f"at {low} to {high}"
    if len(seen) == 1:
        return f"the print {at} was {groups[0][1]}"
    if len(groups) == 1:
        return f"{'both' if len(seen) == 2 else f'all {_count(len(seen))}'} prints {at} were {groups[0][1]}"
    first, *others = groups
    rest = " and ".join(f"{_count(n)} {word}" for n, word in others)
    was = "was" if first[0] == 1 else "were"
    return f"{_count(first[0])} of {_count(len(seen))} prints {at} {was} {first[1]} and {rest}"


def dose_u_stops(low: float, dose: float, high: float) -> float:
    """Standard uncertainty of a given dose in stops, from its 95 % interval; the wider side counts, 0 when unknown."""
    if not 0 < low <= dose <= high:
        return 0.0
    return max(math.log2(dose / low), math.log2(high / dose)) / Z95
