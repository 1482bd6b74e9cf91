"""A report: one page that stands by itself, on the screen and on paper."""

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
from fringe.show.figures.style import png_bytes
from fringe.show.reports.report_parts import (
    Banner,
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
_PHOTOGRAPH, _PROGRESS, _BUDGET = "overlay", "progress", "budget"


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
    """

    png: bytes
    alt: str
    caption: str = ""

    @classmethod
    def of(cls, figure: Figure, alt: str, caption: str = "") -> ReportFigure:
        """Render a figure for a report."""
        return cls(png_bytes(figure), alt, caption)

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
        `fringe read --json` prints it), `power_u_parts` (standard uncertainties of power by
        contribution [fringe]), `verdict` (`Verdict.to_json`), `next_step`
        (`NextStep.sentence`), `when`, `by`, `remarks`, `session_id`, `lamp` (`name`,
        `source`), `photographs` (each `file_name`, `sha256`, `refusal`), `software`
        (name to version), `content_sha256`, `temperature_c`; of a visit with several
        readings `readings` (each `photograph`, `reading`) and `mean` (keys of a reading, and
        `count`); `since`, lines on what was logged after the reading; `proven` and
        `problems`, lines on the evidence.
    figures : mapping of str to ReportFigure
        Names that start with `overlay` go with the verdict, `progress` with the history,
        `budget` with the uncertainty, all others with the reading in their order.
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
    return page_html(
        str(surface_record["name"]),
        facts_of(surface_record, latest),
        verdict_banner(surface_record, latest),
        _parts(surface_record, rows, latest, figures, digests or {}),
        warnings=warnings_of(latest.get("reading") or {}),
        made_at=made_at,
    )


def page_html(
    name: str,
    facts: Sequence[str],
    banner: Banner,
    parts: Sequence[Part],
    *,
    warnings: Sequence[str] = (),
    made_at: str | None = None,
) -> str:
    """Write a report's page from its parts; those that are empty are left out.

    Parameters
    ----------
    name : str
        What the report is about.
    facts : sequence of str
        What it is, in a few words each.
    banner : Banner
        The verdict.
    parts : sequence of Part
        In their order.
    warnings : sequence of str
        What to be warned of beside the verdict.
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
        verdict=banner,
        warnings=warnings,
        parts=[part for part in parts if part.lines or part.figures or part.tables],
        marks=("inside", "outside", "unproven"),
        made_at=made_at,
    )


def _parts(
    surface_record: Mapping[str, Any],
    rows: Sequence[VisitRow],
    latest: Mapping[str, Any],
    figures: Mapping[str, ReportFigure],
    digests: Mapping[str, str],
) -> list[Part]:
    overlay = [figures[name] for name in figures if name.startswith(_PHOTOGRAPH)]
    placed = (_PROGRESS, _BUDGET)
    progress, budget = ([figures[name]] if name in figures else [] for name in placed)
    others = [
        figures[name] for name in figures if name not in placed and not name.startswith(_PHOTOGRAPH)
    ]
    return [
        Part("photograph", "Photograph and fit", figures=overlay),
        reading_part(latest, others),
        uncertainty_part(latest, budget),
        verdict_part(surface_record, latest),
        history_part(rows, progress),
        surface_part(surface_record),
        evidence_part(rows, latest, digests),
    ]


def _nobreak(text: str) -> str:
    """Keep numbers with their units and uncertainties on one line."""
    return _BREAKS.sub("\N{NO-BREAK SPACE}", text)


def _generator() -> str:
    from importlib.metadata import version

    return f"fringe {version('fringe')}"
