"""Moments and names that nobody means, and that are typed all the same: one line, and the code of a wrong call."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import Homed

WRONG, REFUSED = 2, 4


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Homed:
    """Ten minutes of a recording, and a target."""
    home = Homed(tmp_path_factory.mktemp("home"))
    file = home.folder / "june.csv"
    rows = "".join(f"{1_782_036_000 + s},{20 + s % 7}\n" for s in range(600))
    file.write_text(f"time,uva [W/m2]\n{rows}", encoding="utf-8")
    assert home.call("import", file).code == 0
    assert home.call("target", "set", "blue", "--dose", 100).code == 0
    return home


ENDS = ["9999-12-31T23:59", "9999-12-31T23:59-14:00", "0001-01-01T00:00Z", "2026-06-31T10:00"]


@pytest.mark.parametrize("when", ENDS)
def test_a_print_is_not_imagined_at_the_ends_of_the_calendar(home: Homed, when: str) -> None:
    home.call("suppose", "blue", "--at", when).refused(WRONG, "2026-06-21")


def test_a_link_to_itself_is_no_file_to_write(home: Homed, tmp_path: Path) -> None:
    link = tmp_path / "loop.html"
    link.symlink_to(link)
    for more in ((), ("--force",)):
        home.call("day", "2026-06-21", "--out", link, *more).refused(REFUSED, "leads back to itself")
    assert link.is_symlink() and list(tmp_path.iterdir()) == [link]


@pytest.mark.parametrize(("when", "code"), [("02:30", WRONG), ("01:30", 0), ("03:30", 0)])
def test_a_time_that_clocks_leapt_over_is_none(tmp_path: Path, when: str, code: int) -> None:
    """29 March 2026 in Zurich has no 02:30 (EU directive 2000/84/EC)."""
    home = Homed(tmp_path / "home")
    file = tmp_path / "night.csv"
    rows = "".join(f"{1_774_738_800 + 20 * k},20\n" for k in range(1800))  # 2026-03-28T23:00Z (date -u -d @1774738800)
    file.write_text(f"time,uva [W/m2]\n{rows}", encoding="utf-8")
    assert home.call("import", file).code == 0
    assert home.call("target", "set", "blue", "--dose", 100).code == 0
    home.write('[bench]\ntimezone = "Europe/Zurich"\n')
    assert home.call("suppose", "blue", "--at", f"2026-03-29T{when}").code == code
