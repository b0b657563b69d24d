"""Two who begin the same sheet at once, and figures that are none, beside a real daemon."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from uvdose.asked import NoteRequest, StartRequest
from uvdose.cli.asking import need_daemon
from uvdose.config import Home
from uvdose.messages import Part, Taken
from uvdose.model import Refusal

from .conftest import Daemon, Ran


def test_one_sheet_is_begun_once(daemon: Daemon) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 5000).code == 0
    assert daemon.call("edition", "plan", "fans", "--prints", 2, "--target", "blue").code == 0
    asked = need_daemon(Home(daemon.folder))
    first, second = Part("edition", "fans", 1, 1), Part("edition", "fans", 2, 1)
    for frame, part, refused in (("1", first, False), ("2", first, True), ("2", second, False)):
        request = StartRequest("blue", frame=frame, part=part)
        ran = _refused(partial(asked.post, "exposures", request, Taken))
        assert ("sheet 1, layer 1, is counting already, exposure 1" in ran) is refused, ran
    long = _refused(lambda: asked.post("notes", NoteRequest("verdict", {}, "9" * 1000), dict))
    assert "subject: give at most" in long


def test_what_is_no_number_is_refused_and_not_passed_over(daemon: Daemon) -> None:
    ran: Ran = daemon.run("target", "set", "blue", "--dose", 500, "--p", "nan")
    ran.refused(2, "p nan")
    assert "no targets yet" in daemon.run("target", "list").out


def _refused(do: Callable[[], object]) -> str:
    try:
        do()
    except Refusal as err:
        return err.line
    return ""
