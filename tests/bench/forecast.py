"""Prints how good the forecast of the time left is on measured light, one day left out at a time.

`python tests/bench/forecast.py` from the project's folder; `--write` fits anew to all days and writes
uvdose/light/forecast.json.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from support.forecasting import (
    SHARES,
    asked,
    baseline,
    fit,
    held,
    interval_score,
    learned_from,
    left_out,
    of_daily_medians,
    of_days,
    relative_error,
)

import uvdose
from uvdose.light.forecast import clouds

KINDS = ("placed", "unplaced", "new")


def main() -> None:
    learned = learned_from()
    if "--write" in sys.argv:
        rows = {known: fit(learned, known).rows.round(3).tolist() for known in KINDS}
        lines = (f'"{known}": ' + json.dumps(row).replace("], [", "],\n[") for known, row in rows.items())
        text = "{\n" + ",\n".join(lines) + "\n}\n"
        (Path(uvdose.__file__).parent / "light" / "forecast.json").write_text(text, encoding="utf-8")
    c = asked()
    base = baseline(c)
    e0, s0 = relative_error(c, base), interval_score(c, base)
    shares = [c.share == share for share in SHARES]
    print(f"{len(c.day)} forecasts; learned from {len(learned.day)}")
    print(f"baseline: median error {np.median(e0):.4f} ({', '.join(f'{np.median(e0[at]):.4f}' for at in shares)}), "
          f"mean {e0.mean():.4f}, interval score {s0.mean():.4f}, held {held(c, base).mean():.3f}")
    for known in KINDS:
        said = left_out(c, learned, known)
        e, s, inside = relative_error(c, said), interval_score(c, said), held(c, said)
        print(f"{known}: median error {np.median(e):.4f} ({', '.join(f'{np.median(e[at]):.4f}' for at in shares)}), "
              f"mean {e.mean():.4f}, interval score {s.mean():.4f}, held {inside.mean():.3f} "
              f"({', '.join(f'{inside[at].mean():.3f}' for at in shares)})")
        print("  median error less by", of_days(c.day, e, e0, "median"))
        print("  mean of daily medians", of_daily_medians(c.day, e, e0),
              f"better on {sum(np.median(e[c.day == d]) < np.median(e0[c.day == d]) for d in range(30))} of 30 days")
        print("  mean error           ", of_days(c.day, e, e0, "mean"))
        print("  interval score       ", of_days(c.day, s, s0, "mean"))
        rough = clouds(c.index).rough
        for low, high in ((0, 0.015), (0.015, 0.05), (0.05, 0.1), (0.1, 9)):
            at = (rough >= low) & (rough < high)
            width = np.exp(np.median(np.log(said[2][at] / said[0][at])))
            wide = np.exp(np.median(np.log(base[2][at] / base[0][at])))
            print(f"  rough {low}-{high}: {at.sum()}, held {inside[at].mean():.3f} (baseline "
                  f"{held(c, base)[at].mean():.3f}), high/low {width:.2f} (baseline {wide:.2f})")


if __name__ == "__main__":
    main()
