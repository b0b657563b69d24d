"""One daemon in the network for each file of tests; each visitor has an address of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.site import Site


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A daemon with a live sensor and one target, in the network."""
    with Site(tmp_path_factory.mktemp("site") / "home") as running:
        running.wait_live()
        running.target("blue", 60000)
        yield running


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"
