"""What persons say that is no act: targets as versions, and notes. Runs on the daemon's loop.

What was just handed out may not be on disk yet: the newest versions are kept in mind here.
"""

from __future__ import annotations

from ..asked import NoteRequest, StartRequest, TargetRequest
from ..core import Core
from ..exposure.setting import next_version, trial_target
from ..exposure.target import Target
from ..journal.store import Store
from ..messages import NoteTaken, TargetTaken
from ..model import Refusal
from ..notes import checked
from ..stamps import iso_utc
from ..subjects import check as check_subject
from .showing import Showing
from .taking import check_text, on_disk


class Said:
    """Of one daemon."""

    def __init__(self, core: Core, store: Store, showing: Showing) -> None:
        self._core = core
        self._store = store
        self._showing = showing
        self._fresh: dict[str, Target] = {}

    def wanted(self, request: StartRequest) -> Target:
        """The target to start with; for a calibration print one of its own, which no version list knows.

        Raises `Refusal` for one that is not there.
        """
        if request.trial is not None:
            return trial_target(request.target, request.trial)
        newest = self._fresh.get(request.target)
        if newest is not None and request.version in (None, newest.version):
            return newest
        versions = self._store.versions(request.target)
        newest = newest or versions[-1]
        if request.version is None or newest.retired:  # a retired one retires its older versions too
            return newest
        for target in versions:
            if target.version == request.version:
                return target
        raise Refusal(f"target {request.target} has no version {request.version}; its newest is {versions[-1].version}")

    async def set_target(self, request: TargetRequest) -> TargetTaken:
        """A target, as a new version."""
        core = self._core
        identities = [c.identity for c in core.bench.channels.values()]
        # A version just handed out may not be on disk yet: the next one must not take its number.
        last = self._fresh.get(request.name) or self._store.newest_target(request.name)
        like = self._store.newest_target(request.like) if request.like is not None else None
        target = next_version(request, last, identities, iso_utc(core.clock.wall_us()), like)
        self._fresh[target.name] = target
        self._showing.target_set(target)
        recorded = await on_disk(core.commit(core.recorder.target(target)))
        return TargetTaken(target.name, target.version, target.dose, target.unit, recorded)

    async def note(self, request: NoteRequest) -> NoteTaken:
        """Something the person says that is no act."""
        core = self._core
        check_text("subject", request.subject or "")
        note = checked(request.kind, request.data)
        check_subject(note, request.subject)
        noted = core.recorder.note(request.kind, request.subject, note, core.clock.wall_us(), request.based_on)
        self._showing.noted(note, noted.id)
        return NoteTaken(noted.subject, await on_disk(core.commit(noted.statements)), noted.id)
