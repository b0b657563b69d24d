"""A bench whose light a test sets by hand: a native node under a lamp, on a real pty, at twenty times real time."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from cli.conftest import Daemon
from support.ptynode import Lamp

PACE = 20.0


class Quiet(Lamp):
    """`counts` of light, with white noise of `sd` counts, drawn anew for each tenth of a second from a seed."""

    sd = 0.0

    def _light(self, seconds: float) -> float:
        rng = random.Random(math.floor(seconds * 10))
        return max(0.0, self.counts + rng.gauss(0.0, self.sd))


def settings(folder: Path, more: str = "", scale: str = "scale = 0.0125   # by the maker\n") -> str:
    return (
        f'[bench]\nname = "bindery"\n\n[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{folder}/node"\n{scale}'
        f'zero = 0.0    # in the dark\nfull_scale = 1023\n{more}\n# where it listens\n[web]\nlisten = "127.0.0.1:0"\n'
    )


@pytest.fixture
def lamp(tmp_path: Path) -> Iterator[Quiet]:
    """The node; its zero is 12 counts, which its lines hold and nobody knows."""
    with Quiet(tmp_path / "node", pace=PACE, rate_hz=10.0, full_scale=1023, zero=12.0) as node:
        node.counts, node.sd = 600.0, 1.5
        yield node


@pytest.fixture
def bench(tmp_path: Path, lamp: Quiet) -> Iterator[Daemon]:
    """A daemon that reads it."""
    running = Daemon(tmp_path / "home", settings(tmp_path), PACE)
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


@pytest.fixture
def two(tmp_path: Path, lamp: Quiet) -> Iterator[tuple[Daemon, Quiet]]:
    """The same with a second sensor, `roof`, whose scale is known: 0.004 mW/cm² a count, its zero 5 counts."""
    more = (
        f'\n[[sensor]]\nname = "roof"\nlink = "serial"\nport = "{tmp_path}/roof"\nscale = 0.004\nzero = 5.0\n'
        "full_scale = 4095\nrepeat_u = 0.002\n"
    )
    with Quiet(tmp_path / "roof", pace=PACE, rate_hz=5.0, full_scale=4095, zero=5.0) as roof:
        written = settings(tmp_path, more, scale="").replace("zero = 0.0 ", "zero = 12.0 ")
        running = Daemon(tmp_path / "home", written, PACE)
        try:
            running.wait_live()
            yield running, roof
        finally:
            running.stop()
