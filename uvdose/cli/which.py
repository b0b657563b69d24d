"""Which print an act without a number means: the only one that can take it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..model import Refusal

if TYPE_CHECKING:
    from ..messages import ExposureDoc


def the_only(act: str, exposures: Sequence[ExposureDoc]) -> ExposureDoc:
    """The only one of these that the act is open to. Raises `Refusal`: code 2 with the list where there are several,
    4 where there is none."""
    from ..exposure.states import TABLE, Act, State

    open_to = [e for e in exposures if isinstance(TABLE[State(e.state)][Act(act)], State)]
    if len(open_to) == 1:
        return open_to[0]
    if open_to:
        raise Refusal(f"which print? {act} {_list(open_to)}", 2)
    running = [e for e in exposures if e.state not in ("finished", "void")]
    out = f"; in the light: {_list(running)}" if running else ": no print is in the light"
    raise Refusal(f"nothing to {act}{out}")


def _list(exposures: Sequence[ExposureDoc]) -> str:
    """Each by what its printer knows it by."""
    return ", or ".join(
        f"{e.id} ({', '.join(filter(None, (e.label, e.title, f'frame {e.frame}', e.state)))})" for e in exposures
    )
