"""`uvdose service`: the unit is one that systemd takes, and the commands do what they say with `systemctl`."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from support.needs import program

from uvdose.cli.unit import quoted, unit_file, unit_text
from uvdose.model import Refusal

from .conftest import SIMULATED, Homed, Ran

SYSTEMCTL = """\
#!/bin/sh
echo "$@" >> {said}
case "$*" in
*{fails}*) echo "Failed to connect to bus: No medium found" >&2; exit 1 ;;
*" show "*) printf '%s\\n' ActiveState=active SubState=running UnitFileState=enabled NRestarts=2 StatusText=counts ;;
esac
"""


class Host:
    """A home, a configuration folder, and a `systemctl` that writes down what it is told."""

    def __init__(self, folder: Path) -> None:
        self.home = Homed(folder / "home").write(SIMULATED)
        self.config = folder / "config"
        self.bin = folder / "bin"
        self.bin.mkdir()
        self.said_file = folder / "said"
        self.said_file.touch()
        self.systemctl()

    def systemctl(self, fails: str = "nothing-fails") -> None:
        script = self.bin / "systemctl"
        script.write_text(SYSTEMCTL.format(said=self.said_file, fails=fails))
        script.chmod(0o755)

    def run(self, *words: object, path: str | None = None) -> Ran:
        path = path or f"{self.bin}:{os.environ['PATH']}"
        return self.home.run("service", *words, PATH=path, XDG_CONFIG_HOME=str(self.config))

    def bare(self, *words: object) -> Ran:
        """Commands that have no home."""
        from .conftest import argv, environment

        env = environment(PATH=f"{self.bin}:{os.environ['PATH']}", XDG_CONFIG_HOME=str(self.config))
        done = subprocess.run(argv("service", *words), capture_output=True, text=True, timeout=30, env=env)
        return Ran(done.returncode, done.stdout, done.stderr)

    @property
    def said(self) -> list[str]:
        return self.said_file.read_text().splitlines()

    @property
    def unit(self) -> Path:
        return self.config / "systemd" / "user" / "uvdose.service"


@pytest.fixture
def host(tmp_path: Path) -> Host:
    return Host(tmp_path)


@pytest.mark.parametrize("home", ["/srv/bindery", "/srv/the bindery", '/srv/50% "blue" $HOME \\ more'])
def test_systemd_takes_the_unit(tmp_path: Path, home: str, monkeypatch: pytest.MonkeyPatch) -> None:
    analyze = program("systemd-analyze")
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}:{tmp_path}/with blank")
    unit = tmp_path / "uvdose.service"
    unit.write_text(unit_text(Path(home)))
    done = subprocess.run(
        [analyze, "verify", "--user", "--man=no", str(unit)], capture_output=True, text=True, timeout=60,
        env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0 and str(unit) not in done.stderr and "uvdose" not in done.stderr, done.stderr


def test_that_check_can_fail(tmp_path: Path) -> None:
    analyze = program("systemd-analyze")
    unit = tmp_path / "uvdose.service"
    unit.write_text(unit_text(Path("/srv/x")).replace("ExecStart=", "ExecStart=/nowhere/"))
    done = subprocess.run(
        [analyze, "verify", "--user", "--man=no", str(unit)], capture_output=True, text=True, timeout=60,
        env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode != 0


def test_the_unit_is_notified_watched_and_started_again(host: Host) -> None:
    text = host.run("show").out
    for line in ("Type=notify", "WatchdogSec=20", "Restart=on-failure", "NoNewPrivileges=yes",
                 "SystemCallFilter=@system-service", "WantedBy=default.target"):  # fmt: skip
        assert line in text.splitlines(), line
    (start,) = (line for line in text.splitlines() if line.startswith("ExecStart="))
    words = shlex.split(start.removeprefix("ExecStart="))
    assert words == [sys.executable, "-m", "uvdose", "--home", str(host.home.folder), "serve"]


def test_words_are_quoted_as_systemd_reads_them() -> None:
    assert quoted("/srv/plain-1") == "/srv/plain-1"
    assert quoted("50%") == '"50%%"' and quoted("$HOME") == '"$$HOME"'
    assert quoted('a "b" \\c') == '"a \\"b\\" \\\\c"'


def test_install_status_uninstall(host: Host) -> None:
    done = host.run("install")
    assert done.code == 0 and "enable-linger" in done.out and host.unit.read_text() == host.run("show").out
    assert host.said == [
        "--user daemon-reload", "--user enable uvdose.service", "--user restart uvdose.service",
    ]
    assert host.run("install", "--user").code == 0, "the same again"
    told = host.bare("status")
    assert told.code == 0 and "uvdose.service  active (running), enabled  counts" in told.out
    assert "started again 2 times" in told.out
    assert '"ActiveState": "active"' in host.bare("status", "--json").out
    assert host.bare("uninstall").code == 0 and not host.unit.exists()
    assert host.said[-2:] == ["--user disable --now uvdose.service", "--user daemon-reload"]
    host.bare("status").refused(4, "no service uvdose.service is installed: `uvdose service install` does it")
    assert (host.home.folder / "uvdose.toml").exists()


def test_another_units_file_is_kept(host: Host) -> None:
    host.unit.parent.mkdir(parents=True)
    host.unit.write_text("[Service]\nExecStart=/bin/true\n")
    host.run("install").refused(4, "is there already, and is another", "--force")
    assert host.unit.read_text() == "[Service]\nExecStart=/bin/true\n" and host.said == []
    assert host.run("install", "--name", "uvdose-attic").code == 0
    assert host.run("install", "--force").code == 0 and "WatchdogSec" in host.unit.read_text()


def test_a_home_without_settings_gets_no_service(host: Host) -> None:
    (host.home.folder / "uvdose.toml").unlink()
    host.run("install").refused(4, "no settings at")
    assert not host.unit.exists()


def test_without_systemd_it_says_so(host: Host, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    done = host.run("install", path=str(tmp_path / "empty"))
    assert done.code == 4 and "there is no service; `uvdose serve" in done.err
    host.systemctl(fails="daemon-reload")
    done = host.run("install")
    assert done.code == 4 and "Failed to connect to bus" in done.err and len(done.err.splitlines()) == 1


@pytest.mark.parametrize("name", ["a/b", "", "-x", "a b", "x" * 80])
def test_a_wrong_name_is_refused(host: Host, name: str) -> None:
    host.run("show", f"--name={name}").refused(2, "is no name of a unit")


@pytest.mark.parametrize("folder", ["a\nExecStartPre=b", "a\tb", "a\x7f", "a\udcff"])
def test_a_home_that_no_unit_can_name_is_refused(folder: str) -> None:
    with pytest.raises(Refusal, match="cannot stand in a unit"):
        unit_text(Path("/srv") / folder)


def test_units_lie_where_systemd_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", "/srv/anna")
    for given, base in (("", "/srv/anna/.config"), ("mine", "/srv/anna/.config"), ("/etc/anna", "/etc/anna")):
        monkeypatch.setenv("XDG_CONFIG_HOME", given)
        assert unit_file("bench") == Path(base) / "systemd" / "user" / "bench.service"
    monkeypatch.delenv("XDG_CONFIG_HOME")
    monkeypatch.setenv("HOME", "~")
    with pytest.raises(Refusal, match="set HOME"):
        unit_file()
