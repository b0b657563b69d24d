"""Runs cases and prints their table: `python tests/faults/show.py [word of a name]…`; UVDOSE_SEEDS=N for more draws."""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from faults.case import Result  # noqa: E402
from faults.cases import CASES  # noqa: E402
from faults.harness import run_case  # noqa: E402
from faults.pool import AT_ONCE, SEEDS  # noqa: E402


def row(r: Result) -> str:
    """One line of the table, in Markdown."""
    dose = "" if r.dose is None else "0" if r.dose < 1e-12 else f"{r.dose:.1e}"
    call = "" if r.call_ms is None else f"{r.call_ms:+.0f}"
    lag = "" if r.lag_s is None else f"{r.lag_s:.2f} ({r.lag_dose_s:.0f})"
    return f"| {r.name} | {dose} | {call} | {lag} | {r.cpu:.1%} | {r.rss_mb:.0f} | {r.api_s * 1000:.0f} |"


HEAD = (
    "| case | dose error | call late, ms | alarm after, s (dose s) | of a core | MB | slowest answer, ms |\n"
    "|---|---|---|---|---|---|---|"
)


def main() -> int:
    words = sys.argv[1:]
    chosen = [c for c in CASES if not words or any(w in c.name for w in words)]
    print(HEAD, flush=True)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        jobs = [pool.submit(run_case, case, seed) for seed in SEEDS for case in chosen]
        results = []
        for job in jobs:
            results.append(job.result())
            print(row(results[-1]), flush=True)
    bad = [r for r in results if r.problems]
    for r in bad:
        print(f"\n{r.name}, seed {r.seed}:", *r.problems, sep="\n  ")
    print(f"\n{len(results)} runs, {len(bad)} with problems")
    return bool(bad)


if __name__ == "__main__":
    os.environ.setdefault("TZ", "UTC")
    sys.exit(main())
