"""The report of a surface or of a pair, by their names."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.surface import find_surface
from fringe.archive.views.judged_pair import MatchLimits, judged_pair_by_name
from fringe.archive.views.proof import Tell
from fringe.errors import BadInput
from fringe.show.reports.pair_report import pair_report
from fringe.show.reports.surface_report import SurfaceReport, surface_report


@dataclass(frozen=True)
class NamedReport:
    """A report, and what it is of.

    Attributes
    ----------
    name : str
        Of the surface, or of both.
    report : SurfaceReport
    """

    name: str
    report: SurfaceReport

    def to_json(self, out: Path, signature: Path | None = None) -> dict[str, object]:
        """Return the keys of `fringe report --json` for a page that was written."""
        return {
            "surface": self.name,
            "report": str(out),
            "signature": None if signature is None else str(signature),
            "verdict": self.report.verdict,
            "visits": self.report.sessions,
            "problems": list(self.report.problems),
        }

    def row(self, out: Path, signature: Path | None = None) -> str:
        """Say in one line what the page that was written shows."""
        visits = f"{self.report.sessions} visit{'' if self.report.sessions == 1 else 's'}"
        row = f"{self.name}: {self.report.verdict or 'not judged'}, {visits}; report in {out}"
        return row if signature is None else f"{row}, signed in {signature}"


def report_by_name(
    surface: str, partner: str | None, limits: MatchLimits, tell: Tell
) -> NamedReport:
    """Make the report of a surface, or with a partner that of the pair.

    Raises
    ------
    BadInput
        If there is no such surface, the two are no pair, or limits are said of one alone.
    """
    if partner is not None:
        pair = judged_pair_by_name(surface, partner, limits, proven=True, tell=tell)
        name = f"{pair.convex.name} and {pair.concave.name}"
        return NamedReport(name, pair_report(pair.record, pair.pair, pair.step))
    if limits.first_option is not None:
        raise BadInput(f"{limits.first_option} is of a pair; name both its surfaces")
    found = find_surface(surface)
    return NamedReport(found.name, surface_report(found, tell=tell))
