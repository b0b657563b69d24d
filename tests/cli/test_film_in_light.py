"""No film is laid on a sensor that counts a print."""

from __future__ import annotations

import pytest

from uvdose.cli.calibration import film
from uvdose.config import Home
from uvdose.model import Refusal

from .conftest import Daemon


def test_a_running_print_keeps_its_light(daemon: Daemon, monkeypatch: pytest.MonkeyPatch) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 5000).code == 0
    assert daemon.call("expose", "blue").code == 0
    monkeypatch.setattr(film, "at_terminal", lambda: True)
    with pytest.raises(Refusal, match="exposure 1 is counted by sill"):
        film._read_live(Home(daemon.folder), 5.0, None)
