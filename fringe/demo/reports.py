"""The example's end: whether the pair matches, and a report of the pair and of each piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.surface import E_LINE_NM, Surface
from fringe.archive.views.pair_evidence import PairRecord, pair_record
from fringe.files import write_whole
from fringe.judge.pair.match import Pair, match
from fringe.judge.pair.next_step import PairStep, next_step
from fringe.parallel import in_order
from fringe.show.reports.pair_report import pair_report
from fringe.show.reports.surface_report import surface_report

# of a contact besides its reading, as `fringe pair` takes it [fringe]
CONTACT_U_FRINGES = 0.05


@dataclass(frozen=True)
class JudgedPair:
    """A pair with the evidence on it, the estimate, and what to do next."""

    record: PairRecord
    pair: Pair
    step: PairStep


def judged_pair(made: Surface, partner: Surface, *, proven: bool = False) -> JudgedPair:
    """Say whether two surfaces match, by all that their archive holds, as `fringe pair` does.

    Parameters
    ----------
    made : Surface
        The piece that was made to the other; its tolerance is that of their match.
    partner : Surface
        What it was laid on.
    proven : bool
        Prove every session of both, for a report.
    """
    record = pair_record(partner, made, contact_u_fringes=CONTACT_U_FRINGES, proven=proven)
    found = match(
        record.convex,
        record.concave,
        record.plates,
        record.contacts,
        record.sagittas,
        wavelength_nm=made.tolerance.wavelength_nm or E_LINE_NM,
        tolerance=made.tolerance,
        irregularity=record.irregularity,
    )
    return JudgedPair(record, found, next_step(found))


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


def write_reports(pages: Sequence[Page]) -> Iterator[Page]:
    """Write pages, several at once; each is given back when it is there, in their order."""
    for page, html in zip(pages, in_order(page_html, pages), strict=True):
        write_whole(page.path, html.encode())
        yield page


def page_html(page: Page) -> str:
    """One report as a page that stands by itself."""
    if page.partner is None:
        return surface_report(page.surface).html
    found = judged_pair(page.surface, page.partner, proven=True)
    return pair_report(found.record, found.pair, found.step).html
