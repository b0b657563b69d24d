"""The demo is the whole job; it must come to its end, leave nothing behind, and fail when something is wrong."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import time
from pathlib import Path

import pytest

from .conftest import Homed, argv, environment


def _left(folder: Path) -> list[str]:
    """Processes that still work on a home."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            words = path.read_bytes().replace(b"\0", b" ").decode(errors="replace")
            found += [words] if str(folder) in words else []
    return found


def test_the_whole_job(tmp_path: Path) -> None:
    begun = time.monotonic()
    done = subprocess.run(
        argv("demo"), capture_output=True, text=True, timeout=90, env=environment(TMPDIR=str(tmp_path))
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == "" and time.monotonic() - begun < 55
    assert "The bindery, its endpapers and its light are invented; the light is simulated." in done.stdout
    for said in ("$ uvdose serve", "$ uvdose target set", "$ uvdose expose", "$ uvdose hold 1", "$ uvdose resume 1",
                 "$ uvdose quiet 1", "$ uvdose finish 1", "$ uvdose day", "$ uvdose recount 1", "CALL look",
                 "CALL lead",
                 "CALL reached", "uncover now", "the same, bit for bit", "By the clock instead"):  # fmt: skip
        assert said in done.stdout, said
    assert list(tmp_path.iterdir()) == [] and _left(tmp_path) == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_ended_half_way_it_leaves_no_process_and_no_folder(tmp_path: Path, number: signal.Signals) -> None:
    homes = tmp_path / "homes"
    homes.mkdir()
    with (tmp_path / "errors").open("w+") as errors:
        demo = subprocess.Popen(
            argv("demo"), stdout=subprocess.PIPE, stderr=errors, text=True, env=environment(TMPDIR=str(homes))
        )
        assert demo.stdout is not None
        for line in demo.stdout:
            if line.startswith("ready "):
                break
        assert len(_left(homes)) >= 1
        demo.send_signal(number)
        assert demo.wait(30) == 130
    assert "Traceback" not in (tmp_path / "errors").read_text()
    assert list(homes.iterdir()) == [] and _left(homes) == []
    demo.stdout.close()


def test_it_wants_a_home_of_its_own(home: Homed) -> None:
    home.write("[bench]\nname = 'mine'\n")
    done = home.run("demo")
    assert done.code == 4 and "in use already" in done.err and done.err.count("\n") == 1
    assert (home.folder / "uvdose.toml").read_text() == "[bench]\nname = 'mine'\n"
