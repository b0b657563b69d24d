"""Settings that were changed while the daemon runs: whoever begins a print is told what it goes by."""

from __future__ import annotations

from .conftest import SIMULATED, Daemon


def test_a_print_is_begun_and_told_of_settings_that_wait(daemon: Daemon) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 6000).code == 0
    begun = daemon.call("expose", "blue")
    assert begun.code == 0 and begun.err == "", "nothing was changed"
    daemon.write(SIMULATED.replace('"clear"', '"cloud"').replace("[web]", "repeat_u = 0.02\n[web]"))
    told = daemon.call("expose", "blue", "--frame", "2")
    taken, waits = told.err.splitlines()
    assert told.code == 0 and "repeat_u was" in taken, told
    assert "changed since the daemon began (sensor sill.profile)" in waits and "start it again" in waits
    daemon.write("[[sensor]\n")
    told = daemon.call("expose", "blue", "--frame", "3")
    assert told.code == 0 and len(told.err.splitlines()) == 1 and "goes on with the settings that it has" in told.err
