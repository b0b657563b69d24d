"""A storm of kills. UVDOSE_KILLS=1000 makes it a long one; several benches share it, one for each part of 200."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from faults.storm import storm

KILLS = int(os.environ.get("UVDOSE_KILLS", "12"))
BENCHES = max(1, min(4, KILLS // 50))


@pytest.mark.timeout(120 + 3 * KILLS)
def test_nothing_is_lost_no_call_is_missed_none_comes_after_its_end(tmp_path: Path) -> None:
    folders = [tmp_path / str(i) for i in range(BENCHES)]
    for folder in folders:
        folder.mkdir()
    with ThreadPoolExecutor(BENCHES) as pool:
        found = list(pool.map(lambda i: storm(folders[i], -(-KILLS // BENCHES), 1 + i), range(BENCHES)))
    print(f"\n{sum(f.kills for f in found)} kills, {sum(f.prints for f in found)} prints,"
          f" {sum(f.acts for f in found)} acts, {sum(f.calls for f in found)} calls,"
          f" {sum(f.unheard for f in found)} with an act in a silence,"
          f" worst dose error {max(f.worst for f in found):.1e},"
          f" latest call {max(f.latest_call_s for f in found):.2f} s after it was due")
    assert not [p for f in found for p in f.problems]
    assert sum(f.kills for f in found) >= KILLS
    assert sum(f.calls + f.held for f in found) == sum(f.prints for f in found)
