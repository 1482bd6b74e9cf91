"""The example's end: whether the pair matches, and a report of the pair and of each piece."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.surface import Surface
from fringe.archive.views.judged_pair import judged_pair
from fringe.files import write_whole
from fringe.parallel import in_order
from fringe.show.reports.pair_report import pair_report
from fringe.show.reports.surface_report import surface_report


@dataclass(frozen=True)
class Page:
    """A report to write: of one surface, or of the piece made to a partner.

    Attributes
    ----------
    path : Path
        The page.
    surface : Surface
    partner : Surface or None
        What the surface was made to, for the report of a pair.
    """

    path: Path
    surface: Surface
    partner: Surface | None = None


def write_reports(pages: Sequence[Page], pool: Executor | None) -> Iterator[Page]:
    """Write pages, several at once; each is given back when it is there, in their order.

    The pool begins with them at once.
    """
    return _written(pages, in_order(page_html, pages, pool=pool))


def _written(pages: Sequence[Page], made: Iterable[str]) -> Iterator[Page]:
    for page, html in zip(pages, made, strict=True):
        write_whole(page.path, html.encode())
        yield page


def page_html(page: Page) -> str:
    """One report as a page that stands by itself."""
    if page.partner is None:
        return surface_report(page.surface).html
    found = judged_pair(page.surface, page.partner, proven=True)
    return pair_report(found.record, found.pair, found.step).html
