"""What the README shows of the program is what it prints: the first real print, done as it stands there, and more.

Figures, times and bars differ from run to run, so their places are compared, not their values; all other words are
compared as they stand. The light of the print is the same invented recording as in the README, with clear light
before it, so that its pause falls behind the hold also on a slow machine, and after it, so that the print is finished.
What the README shows of measured months, of other programs' lines and of prints that are dry is not here.
"""

from __future__ import annotations

import re
import shlex
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import zip_longest

import pytest

from .conftest import ROOT, Daemon, Ran

PACE = 30
RECORDING = "invented_cloud.txt"
MORE_S = 240
README = (ROOT / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("## A first real print\n")[2].partition("\n## ")[0]


def _told(section: str) -> dict[str, list[str]]:
    """What the README shows for each call, by the call's first words."""
    found: dict[str, list[str]] = {}
    for block in re.findall(r"```console\n(.*?)```", section, re.S):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            call, _, output = part.partition("\n")
            found[call] = output.rstrip("\n").splitlines()
    return found


TOLD = _told(README)
CALLS = list(_told(SECTION))
HEARD = re.findall(r"```\n(\d\d:\d\d:\d\d .*?)```", SECTION, re.S)


def placed(line: str) -> str:
    """A line with a sign for each figure and each bar, and single blanks: what does not differ between two runs."""
    line = re.sub(r"[█▁▂▃▄▅▆▇░┃·─]+( *[█▁▂▃▄▅▆▇░┃·─]+)*", "=", line)
    line = re.sub(r"(?<![A-Za-z])[+-]?\d+([.:-]\d+)*", "#", line)
    return " ".join(re.sub(r"\(about\)|about ", "", line).split())


def same(call: str, printed: str) -> None:
    shown, lines = [placed(line) for line in TOLD[call]], [placed(line) for line in printed.rstrip("\n").splitlines()]
    if "…" in shown:  # what was left out, told beside it
        at = shown.index("…")
        lines[at : len(lines) - (len(shown) - at - 1)] = ["…"]
    differ = [f"README: {a!r}\nnow:    {b!r}" for a, b in zip_longest(shown, lines) if a != b]
    assert not differ, f"{call}\n" + "\n".join(differ) + f"\n{printed}"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    folder = tmp_path_factory.mktemp("print")
    rows = (ROOT / "shared" / "recordings" / RECORDING).read_text(encoding="utf-8").splitlines()
    rows = [row for row in rows if not row.startswith("#")]
    last = float(rows[-1].split("\t")[0])
    clear = [f"{398 + n % 3}" for n in range(MORE_S)]
    lines = [f"{n}.0\t{value}" for n, value in enumerate(clear)]
    lines += [f"{float(at) + MORE_S:.3f}\t{value}" for at, value in (row.split("\t") for row in rows)]
    lines += [f"{last + MORE_S + n:.3f}\t{value}" for n, value in enumerate(clear, start=1)]
    (folder / RECORDING).write_text("\n".join(lines) + "\n", encoding="utf-8")
    settings = (ROOT / "shared" / "settings" / "rehearsal.toml").read_text(encoding="utf-8")
    west = datetime.now(UTC).hour - 11  # where the forenoon ends now, so that no midnight falls into the print
    named = f'"bindery"\ntimezone = "Etc/GMT{west:+d}"'
    settings = settings.replace('"rehearsal"', named).replace('"played"', '"sill"')
    running = Daemon(folder, f'{settings}\n[web]\nlisten = "127.0.0.1:0"\n', PACE)
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


@pytest.fixture(autouse=True)
def _wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.delenv("UVDOSE_HOME", raising=False)


def _do(bench: Daemon, call: str) -> Ran:
    """Within this process: on a slow machine the start of another takes a minute of the bench's."""
    ran = bench.call(*shlex.split(call)[1:])
    assert ran.code == 0, ran
    return ran._replace(out=ran.out.replace(f" --home {bench.folder}", ""))  # the README names it by UVDOSE_HOME


def _until(bench: Daemon, fraction: float) -> None:
    end = time.monotonic() + 90
    while bench.told("status")["exposures"][0]["fraction"] < fraction:
        assert time.monotonic() < end
        time.sleep(0.05)


def test_each_command_prints_what_the_readme_shows(bench: Daemon, monkeypatch: pytest.MonkeyPatch) -> None:
    assert [shlex.split(call)[1] for call in CALLS if call.startswith("uvdose")] == [
        "serve", "status", "target", "expose", "watch", "hold", "resume", "quiet", "finish", "day", "recount"
    ]
    status, target, expose, watch, hold, resume, quiet, finish, day, recount = CALLS[-10:]
    same(status, _do(bench, status).out)
    assert _do(bench, target).out.rstrip("\n").splitlines() == TOLD[target]  # nothing in it differs
    begun = _do(bench, expose.replace("--count-in 3", "--count-in 1")).out
    assert begun.rstrip("\n").endswith("\n1 uncover now")
    same(expose, begun.replace("\n1 uncover now", "\n3 2 1 uncover now"))
    _until(bench, 0.08)
    same(watch, _do(bench, watch).out)
    _until(bench, 0.16)
    same(hold, _do(bench, hold).out)
    same(resume, _do(bench, resume).out)
    _until(bench, 1.28)
    same(quiet, _do(bench, quiet).out)
    same(finish, _do(bench, finish).out)
    end = time.monotonic() + 60
    while bench.told("status")["sensors"][0]["state"] == "live":
        assert time.monotonic() < end
        time.sleep(0.05)
    said = bench.stop().out  # before the lost link is a silent sensor, too
    same(recount, _do(bench, recount).out)
    monkeypatch.setenv("COLUMNS", "80")
    same(day, re.sub(", Etc/GMT[+-][0-9]+", "", _do(bench, day).out))
    heard = {placed(line) for line in said.replace("\a", "").splitlines()}
    for line in HEARD[0].splitlines():  # what the daemon's terminal said, among other things
        if "CALL again" not in line:  # comes in real time, and the person may be quicker
            assert placed(line) in heard, line


def test_what_other_sections_show(daemon: Daemon) -> None:
    """Where a simulated bench can do it: a strip planned, the queue, a sensor's morning."""
    plan, queue, check = (next(call for call in TOLD if call.startswith(f"uvdose {words}"))
                          for words in ("strip plan", "queue add", "sensor check"))  # fmt: skip
    same(plan, _do(daemon, plan).out)
    _do(daemon, "uvdose target set blue --dose 2565")
    _do(daemon, "uvdose queue add blue --label fern")
    same(queue, _do(daemon, queue).out)
    same(check, _do(daemon, check).out)


def test_a_line_that_differs_is_seen() -> None:
    call = next(call for call in TOLD if call.startswith("uvdose finish"))
    same(call, "exposure 7: finished at 99.5 mJ/cm², 4 % of blue v1\n")
    for wrong in ("exposure 7: ended at 9 mJ/cm², 4 % of blue v1\n", "", "exposure 7: finished at 9 mJ, 4 % of blue"):
        with pytest.raises(AssertionError):
            same(call, wrong)
