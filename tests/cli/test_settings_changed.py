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


def test_a_print_in_the_shade_of_a_target_proved_in_the_sun_is_told(daemon: Daemon) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 6000, "--air-mass", 1.09).code == 0
    assert "in the sun" not in daemon.call("expose", "blue").out
    told = " ".join(daemon.call("expose", "blue", "--frame", "2", "--light-in", "shade").out.split())
    assert "blue was proved in the sun as far as is known, printed in shade" in told
    assert "`uvdose target set blue --dose 6000 --light-in shade" in told
    assert "printed in shade" in " ".join(daemon.call("day").out.split()), "and it is kept with the print"
