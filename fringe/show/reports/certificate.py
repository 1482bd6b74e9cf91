"""The first sheet of a report: what is certified, on what, by which rule, and how to prove it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fringe.format import capital, figures
from fringe.judge.state.visits import VisitRow
from fringe.show.reports.report_parts import Banner, Part, Table, minute_text, result_of
from fringe.show.words import headline, reading_rows

_ROOMY = 750  # characters that verdict, warnings and notes have room for in ordinary type
# what is of the surface itself; tilt and rings are of how it lay in one photograph
_OF_THE_SURFACE = (
    "Radius, work − plate",
    "Irregularity (B)",
    "  symmetric (C)",
    "  rms",
    "Astigmatism",
    "Form",
)


@dataclass(frozen=True)
class Certificate:
    """What one sheet says.

    Attributes
    ----------
    banner : Banner
        Verdict and next step.
    figure : object or None
        The photograph with the fit, as the template draws pictures.
    figure_note : str
        What stands in its place where there is none.
    numbers : Table or None
        What was measured, with 95 %.
    decision : Part or None
        Each limit, and the rule.
    warnings : sequence of str
        Of the reading.
    spoken : sequence of (str, str)
        What it speaks of: the visit, and what proves the history.
    lines : sequence of str
        What is left out.
    """

    banner: Banner
    figure: Any = None
    figure_note: str = ""
    numbers: Table | None = None
    decision: Part | None = None
    warnings: Sequence[str] = ()
    spoken: Sequence[tuple[str, str]] = ()
    lines: Sequence[str] = ()

    @property
    def crowded(self) -> bool:
        """Whether there is so much to say that one sheet holds it in small type only."""
        said = [*self.banner.lines, self.banner.next, *self.warnings, *self.lines]
        return sum(map(len, said)) > _ROOMY


def numbers_table(latest: Mapping[str, Any]) -> Table | None:
    """What was measured of the surface: the visit's own result where it has one, else a reading.

    Parameters
    ----------
    latest : mapping
        As `report_html` takes it.
    """
    sagittas = latest.get("spherometer") or ()
    if sagittas:
        by_depth = [(capital(name), value) for name, value in sagittas]
        return Table("Measured by the spherometer, ± at 95 %", ("Quantity", "Value"), by_depth)
    result = result_of(latest)
    rows: list[tuple[str, str]] = []
    if result:
        head = headline(result)
        rows.append((head.label, f"{head.value} {head.unit}".strip()))
        rows += [
            (capital(name.strip()), value) for name, value in reading_rows(result) if _kept(name)
        ]
        if result.get("iso10110"):
            rows.append(("ISO 10110-5", str(result["iso10110"])))
    if not rows:
        return None
    wavelength = result.get("wavelength_nm")
    fringe = f"; one fringe is {figures(wavelength / 2, 5)} nm" if wavelength else ""
    return Table(f"Measured, ± at 95 %{fringe}", ("Quantity", "Value"), rows)


def _kept(label: str) -> bool:
    return label in _OF_THE_SURFACE


def spoken_rows(latest: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The visit that a report speaks of, and the digests that prove it and the whole history."""
    visit = ", ".join(
        str(part)
        for part in (
            latest.get("visit"),
            minute_text(latest.get("when")),
            latest.get("by") and f"by {latest['by']}",
        )
        if part
    )
    rows = [
        ("Visit", visit),
        ("Its session", str(latest.get("session_id") or "")),
        ("SHA-256 of its content", str(latest.get("content_sha256") or "")),
        ("Digest of the history", str(latest.get("history") or "")),
    ]
    return [row for row in rows if row[1]]


def struck_line(rows: Sequence[VisitRow], of: str = "") -> list[str]:
    """Visits that were struck out, with why; nothing where there are none.

    For example ``2 visits struck out: visit 3 (wrong plate), visit 5 (blurred).`` `of` names the
    surface where a report is of two.
    """
    if not rows:
        return []
    named = ", ".join(
        f"visit {row.visit}" + (f" ({row.remark})" if row.remark else "") for row in rows
    )
    whose = f" of {of}" if of else ""
    return [f"{len(rows)} visit{'' if len(rows) == 1 else 's'}{whose} struck out: {named}."]
