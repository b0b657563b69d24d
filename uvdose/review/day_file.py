"""A day into a file: a page or a PDF, whole under its name or not there at all."""

from __future__ import annotations

from pathlib import Path

from ..journal.store import Store
from ..model import Refusal
from .day import Day
from .day_curve import curves
from .outfile import fresh_bytes, fresh_file

ENDS = (".html", ".pdf")
PAPERS = ("A4", "Letter")


def check_page(name: str, paper: str | None) -> None:
    """Raises `Refusal` (code 2) for a file that is neither, and for a paper that is not known."""
    if Path(name).suffix.lower() not in ENDS:
        raise Refusal(f"{Path(name).name}: a day's page ends with {' or '.join(ENDS)}", 2)
    _paper(paper)


def _paper(text: str | None) -> str | None:
    if text is None:
        return None
    found = next((paper for paper in PAPERS if paper.lower() == text.strip().lower()), None)
    if found is None:
        raise Refusal(f"paper {text!r}: give {' or '.join(PAPERS)}", 2)
    return found


def write_day(store: Store, day: Day, bench: str, path: Path, paper: str | None, replace: bool) -> None:
    """Write it. paper: A4 or Letter, None: a PDF is A4, a page leaves it to the printer. Raises `Refusal`."""
    check_page(path.name, paper)
    size, light = _paper(paper), curves(store, day)
    if path.suffix.lower() == ".pdf":
        from .day_pdf import pdf

        with fresh_bytes(path, replace) as handle:
            handle.write(pdf(day, light, bench, size or PAPERS[0]))
    else:
        from .day_page import page

        with fresh_file(path, replace) as text:
            text.write(page(day, light, bench, size))
