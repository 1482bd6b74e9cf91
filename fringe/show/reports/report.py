"""A report: a certificate of one sheet and its annex, as a page that stands by itself."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from fringe.errors import BadInput
from fringe.judge.state.visits import VisitRow
from fringe.judge.uncertainty.budget import Budget
from fringe.show.figures.style import png_bytes
from fringe.show.reports.certificate import Certificate, numbers_table, spoken_rows
from fringe.show.reports.report_parts import (
    Part,
    evidence_part,
    facts_of,
    history_part,
    reading_part,
    surface_part,
    uncertainty_part,
    verdict_banner,
    verdict_part,
)
from fringe.show.words import warnings_of

_BREAKS = re.compile(r"(?<=\d) (?=(?:%|°C|nm|mm|px|fringes?|±))|(?<=[±<>=⌀]) (?=\d)|(?<=λ) (?==)")
_PHOTOGRAPH, _PROGRESS = "overlay", "progress"


@dataclass(frozen=True)
class ReportFigure:
    """A picture for a report.

    Attributes
    ----------
    png : bytes
        The picture, as a PNG file.
    alt : str
        What it shows, for someone who cannot see it.
    caption : str
        What stands under it.
    title : str
        What it is, before the caption.
    """

    png: bytes
    alt: str
    caption: str = ""
    title: str = ""

    @classmethod
    def of(cls, figure: Figure, alt: str, caption: str = "", *, title: str = "") -> ReportFigure:
        """Render a figure for a report."""
        return cls(png_bytes(figure), alt, caption, title)

    @property
    def base64(self) -> str:
        """The file's bytes in base 64."""
        return base64.b64encode(self.png).decode("ascii")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height [px]."""
        from PIL import Image

        return Image.open(io.BytesIO(self.png)).size

    @property
    def width(self) -> int:
        """Width [px]."""
        return self.size[0]

    @property
    def height(self) -> int:
        """Height [px]."""
        return self.size[1]


def report_html(
    surface_record: Mapping[str, Any],
    rows: Sequence[VisitRow],
    latest: Mapping[str, Any],
    figures: Mapping[str, ReportFigure],
    *,
    budgets: Sequence[Budget] = (),
    digests: Mapping[str, str] | None = None,
    made_at: str | None = None,
) -> str:
    """Write a surface's report as one HTML page without any link out of it.

    Parameters
    ----------
    surface_record : mapping
        The surface as `Surface.to_json` gives it; `name` must be there.
    rows : sequence of VisitRow
        All visits, the earliest first.
    latest : mapping
        The visit that the report speaks of. All keys may be missing: `reading` (as
        `fringe read --json` prints it), `verdict` (`Verdict.to_json`), `next_step`
        (`NextStep.sentence`), `visit` (its number), `when`, `by`, `remarks`, `session_id`,
        `lamp` (`name`, `source`), `photographs` (each `file_name`, `sha256`, `refusal`),
        `software` (name to version), `content_sha256`, `temperature_c`; `mean` (keys of a
        reading), what all of the visit says, with `count` of a visit with several readings,
        and of these `readings` (each `photograph`, `reading`); `since`, lines on what was
        logged after the reading; `struck`, lines on visits that were struck out; `history`,
        digest of the archive's; `proven` and `problems`, lines on the evidence;
        `of_plate`, lines on the plate.
    figures : mapping of str to ReportFigure
        `overlay` stands on the certificate, names that start with `progress` with the history,
        all others with the form, in their order.
    budgets : sequence of Budget
        Where the uncertainty of each result of the visit comes from.
    digests : mapping of str to str or None
        SHA-256 of each session's content, by its id.
    made_at : str or None
        Date and time of the report, for its foot.

    Returns
    -------
    str
        The page. All text is escaped.

    Raises
    ------
    BadInput
        If the surface has no name.
    """
    if not surface_record.get("name"):
        raise BadInput("report: the surface's record has no name")
    certificate = Certificate(
        verdict_banner(surface_record, latest),
        figures.get(_PHOTOGRAPH),
        numbers=numbers_table(latest),
        decision=verdict_part(surface_record, latest),
        warnings=[*warnings_of(latest.get("reading") or {}), *(latest.get("of_plate") or ())],
        spoken=spoken_rows(latest),
        lines=latest.get("struck") or (),
    )
    return page_html(
        str(surface_record["name"]),
        facts_of(surface_record, latest),
        certificate,
        _parts(surface_record, rows, latest, figures, budgets, digests or {}),
        made_at=made_at,
    )


def page_html(
    name: str,
    facts: Sequence[str],
    certificate: Certificate,
    parts: Sequence[Part],
    *,
    made_at: str | None = None,
) -> str:
    """Write a report's page from its parts; those that are empty are left out.

    Parameters
    ----------
    name : str
        What the report is about.
    facts : sequence of str
        What it is, in a few words each.
    certificate : Certificate
        The first sheet.
    parts : sequence of Part
        Of the annex, in their order.
    made_at : str or None
        Date and time of the report, for its foot.

    Returns
    -------
    str
        The page. All text is escaped.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("fringe.show.reports", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["nobreak"] = _nobreak
    return environment.get_template("report.html.j2").render(
        language="en",
        generator=_generator(),
        title=f"{name}: report",
        name=name,
        facts=facts,
        certificate=certificate,
        running=_css_text(f"{name}: report" + (f", {made_at}" if made_at else "")),
        parts=[part for part in parts if part.lines or part.figures or part.tables],
        marks=("inside", "outside", "unproven"),
        made_at=made_at,
    )


def _parts(
    surface_record: Mapping[str, Any],
    rows: Sequence[VisitRow],
    latest: Mapping[str, Any],
    figures: Mapping[str, ReportFigure],
    budgets: Sequence[Budget],
    digests: Mapping[str, str],
) -> list[Part]:
    course = [name for name in figures if name.startswith(_PROGRESS)]
    others = [name for name in figures if name != _PHOTOGRAPH and name not in course]
    return [
        reading_part(latest),
        uncertainty_part(budgets),
        Part("form", "Photograph and form", figures=[figures[name] for name in others]),
        history_part(rows, [figures[name] for name in course]),
        surface_part(surface_record),
        evidence_part(rows, latest, digests),
    ]


def _nobreak(text: str) -> str:
    """Keep numbers with their units and uncertainties on one line."""
    return _BREAKS.sub("\N{NO-BREAK SPACE}", text)


def _css_text(text: str) -> str:
    """A text as it can stand between quotes in a style sheet, whatever it holds."""
    return "".join(c if c.isalnum() and c.isascii() else f"\\{ord(c):x} " for c in text)


def _generator() -> str:
    from importlib.metadata import version

    return f"fringe {version('fringe')}"
