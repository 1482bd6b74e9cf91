"""The parts of a report: their words and tables, from plain records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fringe.format import (
    capital,
    figures,
    plus_minus,
    share_text,
)
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict_words import SURFACE, probability_cell, probability_sentence
from fringe.judge.uncertainty.budget import Budget
from fringe.quantity import half_width_if_any
from fringe.show.figures.budget import bars_of
from fringe.show.figures.style import wavelength_text
from fringe.show.words import (
    form_cell,
    headline,
    headline_text,
    limit_text,
    quality_rows,
    reading_rows,
    sense_text,
    work_cell,
)

RULES = {
    "simple": "simple acceptance: the measured value alone decides",
    "guard95": "each limit is guarded by 1.645 standard uncertainties, so that inside and"
    " outside are said only where they are at least 95 % probable",
    "shrinkU": "each limit is moved by the expanded uncertainty U = 2 u",
}
_MEANINGS = {
    "Radius, work − plate": "radius of the work less that of the plate",
    "Irregularity (B)": "peak to valley of what the best sphere leaves",
    "symmetric (C)": "its rotationally symmetric part, peak to valley",
    "rms": "root mean square of what the best sphere leaves",
    "Astigmatism": "peak to valley",
    "Form": "proven, of the work over the sphere through the rest of it",
    "Tilt": "how the pieces lay, edge to centre; no fault of the surface",
    "Dark rings": "whole dark rings from the fringe centre to the edge",
    "Ring step": "growth of the squared radius from ring to ring",
    "Effective radius": "of the sphere that has the same gap on a flat",
    "Fringe contrast": "0 to 1",
    "Used": "share of the aperture that the fit used",
    "Left by the fit": "root mean square",
}
_NO_COLUMN = -1


@dataclass(frozen=True)
class Table:
    """A table of text.

    Attributes
    ----------
    caption : str
        What it holds.
    columns : sequence of str
        Heads; the first column names the rows.
    rows, foot : sequence of sequence of str
        Cells.
    marked : int
        Column whose verdicts get a mark; -1 for none.
    coded, unbroken : sequence of int
        Columns of digests and identities, and columns that stay on one line.
    wide : bool
        Takes the page's whole width.
    bars : sequence of float
        A share from 0 to 1 for each row, drawn as a bar in the second column; empty for none.
    roomy : sequence of int
        Columns of sentences, which are kept wide.
    """

    caption: str
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    foot: Sequence[Sequence[str]] = ()
    marked: int = _NO_COLUMN
    coded: Sequence[int] = ()
    unbroken: Sequence[int] = ()
    wide: bool = False
    bars: Sequence[float] = ()
    roomy: Sequence[int] = ()


@dataclass(frozen=True)
class Part:
    """A part of the report under its own heading."""

    id: str
    heading: str
    lines: Sequence[str] = ()
    figures: Sequence[Any] = ()
    tables: Sequence[Table] = ()
    tables_last: bool = False


@dataclass(frozen=True)
class Banner:
    """The verdict in words."""

    state: str
    words: str
    lines: Sequence[str] = field(default=())
    next: str = ""


def facts_of(record: Mapping[str, Any], latest: Mapping[str, Any]) -> list[str]:
    """Return what the surface is, and when it was read, in a few words each."""
    plate = record.get("plate") or {}
    reading = latest.get("reading") or {}
    wavelength = (reading or latest.get("mean") or {}).get("wavelength_nm")
    parts = [
        record.get("form"),
        _length("radius", record.get("radius_mm")),
        _length("aperture", record.get("diameter_mm"), "⌀ "),
        _length("over all", record.get("outside_diameter_mm"), "⌀ "),
        f"against {plate['name']}" if plate.get("name") else None,
        wavelength_text(wavelength) if wavelength is not None else None,
        f"read {minute_text(latest['when'])}" if latest.get("when") else None,
    ]
    return [str(part) for part in parts if part]


def verdict_banner(record: Mapping[str, Any], latest: Mapping[str, Any]) -> Banner:
    """Return what is proven, by what, and what to do next."""
    verdict = latest.get("verdict") or {}
    state = str(verdict.get("state") or "none")
    lines = []
    if state == "none":
        limited = record.get("tolerance")
        lines.append(
            "No reading could be judged."
            if limited
            else "The surface has no tolerance to judge by."
        )
    else:
        reason = str(verdict.get("reason") or "")
        lines.append(probability_sentence(reason, verdict["probability"]))
    result = result_of(latest)
    if result:
        lines.append(_power_line(record, result, result.get("count")))
    lines += latest.get("since") or ()
    return Banner(
        state if state in SURFACE else "none",
        capital(SURFACE.get(state, "not judged")),
        lines,
        str(latest.get("next_step") or ""),
    )


def result_of(latest: Mapping[str, Any]) -> dict[str, Any]:
    """What the visit that a report speaks of says, in the keys of a reading.

    That is the result of all its readings. What only a reading has is taken from it where it is
    the only one and counts its fringes at the same wavelength.
    """
    reading, mean = latest.get("reading") or {}, latest.get("mean") or {}
    mean = {name: value for name, value in mean.items() if value is not None}
    if "power_fringes" not in mean:
        return dict(reading)
    same = abs(mean.get("wavelength_nm", 0.0) - reading.get("wavelength_nm", 0.0)) < 0.01
    return {**(reading if same and not mean.get("count") else {}), **mean}


def _power_line(record: Mapping[str, Any], values: Mapping[str, Any], count: Any) -> str:
    """Power with its wavelength and aperture, of one reading or the mean of some."""
    head = headline(values)
    power = f"{head.label}: {headline_text(values)}"
    if values.get("wavelength_nm") is not None and head.unit:
        power += f" at {wavelength_text(values['wavelength_nm'])}"
    if record.get("diameter_mm") is not None:
        power += f" over {figures(record['diameter_mm'], 5)} mm"
    if count:
        power += f", mean of {count} readings"
    return f"{power}. {sense_text(values)}."


def reading_part(latest: Mapping[str, Any]) -> Part:
    """Return the quantities of the reading, with what they mean."""
    reading = latest.get("reading") or {}
    sagittas = latest.get("spherometer") or ()
    if sagittas:
        table = Table(
            "By the spherometer, read on work and plate", ("Quantity", "Value, 95 %"), sagittas
        )
        return Part("reading", "The reading", (), (), [table])
    if not reading:
        return Part("reading", "The reading", ["The latest visit holds no reading."])
    head = headline(reading)
    meaning = "sagitta error of the best-fit sphere" if head.unit == "fringes" else ""
    rows = [(head.label, f"{head.value} {head.unit}".strip(), meaning)]
    for label, value in [*reading_rows(reading), *quality_rows(reading)]:
        name = label.strip()
        rows.append((name.replace("symmetric", "Symmetric"), value, _MEANINGS.get(name, "")))
    if reading.get("iso10110"):
        rows.append(("ISO 10110-5", str(reading["iso10110"]), "power(irregularity/symmetric)"))
    wavelength = reading.get("wavelength_nm")
    several = latest.get("readings") or ()
    caption = "Quantities read"
    if several:
        caption += f" from {_last_with(reading, several)}"
    if wavelength is not None:
        caption += f"; one fringe is {figures(wavelength / 2, 5)} nm of gap"
    tables = [Table(caption, ("Quantity", "Value", "Meaning"), rows)]
    if several:
        tables.insert(0, _readings_table(several))
    return Part("reading", "The reading", (), (), tables)


def _last_with(reading: Mapping[str, Any], several: Sequence[Mapping[str, Any]]) -> str:
    names = [str(one["photograph"]) for one in several if one["reading"] == reading]
    return names[-1] if names else "one photograph"


def _readings_table(several: Sequence[Mapping[str, Any]]) -> Table:
    """Each reading of the visit in a row: what repeats is the glass."""
    rows = []
    for one in several:
        reading = one["reading"]
        irregularity = reading.get("irregularity_fringes")
        quality = reading.get("quality") or {}
        contrast = quality.get("contrast")
        rows.append(
            (
                str(one["photograph"]),
                headline(reading).value,
                str(reading.get("sense") or ""),
                form_cell(irregularity, reading.get("irregularity_u95_fringes")),
                "" if contrast is None else figures(contrast, 2),
            )
        )
    columns = ("Photograph", "Power, fringes", "Contact", "Irregularity, fringes", "Contrast")
    return Table("All readings of this visit", columns, rows)


def uncertainty_part(results: Sequence[Budget]) -> Part:
    """Return where the uncertainty of each result comes from, as `fringe budget` has it."""
    tables = [_budget_table(one) for one in results]
    lines = [f"{one.warning}." for one in results if one.warning]
    return Part("uncertainty", "Where the uncertainty comes from", lines, (), tables)


def _budget_table(one: Budget) -> Table:
    shown = bars_of(one)
    u95, u = figures(one.u95, 2), figures(one.u, 2)
    return Table(
        f"{capital(one.name)} {one.text}, 95 %",
        ("Input", "Share of the variance", f"± 95 %, {one.unit}", f"as u, {one.unit}"),
        [
            (
                row.input.name,
                share_text(row.share),
                figures(one.half_width(row), 2),
                figures(abs(row.contribution), 2),
            )
            for row in shown
        ],
        [("together", "", u95, u)],
        bars=[max(0.0, min(1.0, row.share)) for row in shown],
    )


def verdict_part(record: Mapping[str, Any], latest: Mapping[str, Any]) -> Part:
    """Return the decision on each limited quantity, and the rule."""
    verdict = latest.get("verdict") or {}
    parts = verdict.get("parts") or ([verdict] if verdict else [])
    tolerance = record.get("tolerance") or {}
    limits = {
        "power": limit_cell(tolerance.get("power_fringes"), "±"),
        "irregularity": limit_cell(tolerance.get("irregularity_fringes"), "up to "),
        "radius difference": _length("±", tolerance.get("radius_difference_mm")),
    }
    rows = [
        (
            one.get("quantity") or "surface",
            limits.get(one.get("quantity"), ""),
            one["state"],
            probability_cell(one["probability"]),
        )
        for one in parts
    ]
    if not rows:
        return Part("decision", "The decision")
    rule = str(verdict.get("rule") or tolerance.get("rule") or "")
    return decision_part(rows, rule, tolerance.get("wavelength_nm"))


def decision_part(rows: Sequence[Sequence[str]], rule: str, wavelength_nm: float | None) -> Part:
    """Return each limit with its verdict, by which rule, and what its fringes are counted in."""
    lines = [f"Rule {rule}: {RULES[rule]}."] if rule in RULES else []
    if wavelength_nm is not None:
        lines.append(f"Limits in fringes are at {wavelength_text(wavelength_nm)}.")
    table = Table(
        "Each limit and what is proven of it",
        ("Quantity", "Limit", "Verdict", "Probability"),
        rows,
        marked=2,
        unbroken=(2,),
    )
    return Part("decision", "The decision", lines, (), [table])


def history_part(rows: Sequence[VisitRow], pictures: Sequence[Any]) -> Part:
    """Return all visits as a table."""
    cells = [
        (
            str(row.visit),
            row.when.isoformat(sep=" ", timespec="minutes")[:16],
            figures(row.hours_total, 3),
            work_cell(row),
            _signed(row.power_fringes, row.power_u95_fringes, row),
            _signed(row.radius_difference_mm, row.radius_difference_u95_mm, row),
            form_cell(row.irregularity_fringes, row.irregularity_u95_fringes),
            row.verdict or "",
            row.next_step or "",
        )
        for row in rows
    ]
    if not cells:
        return Part("history", "History", ["No visit has been logged yet."])
    columns = (
        "Visit",
        "When",
        "Hours",
        "Work before",
        "Power, fringes",
        "Radius difference, mm",
        "Irregularity, fringes",
        "Verdict",
        "Next step",
    )
    kept = [
        k for k in range(len(columns)) if k < 2 or any(row[k] not in ("", "0") for row in cells)
    ]
    table = Table(
        "All visits, the earliest first",
        [columns[k] for k in kept],
        [[row[k] for k in kept] for row in cells],
        marked=kept.index(7) if 7 in kept else _NO_COLUMN,
        wide=True,
        unbroken=[kept.index(k) for k in (1, 7) if k in kept],
        roomy=[kept.index(k) for k in (3, 8) if k in kept],
    )
    return Part("history", "History", (), pictures, [table], tables_last=True)


def surface_part(record: Mapping[str, Any]) -> Part:
    """Return what the surface is meant to be."""
    plate, tolerance = record.get("plate") or {}, record.get("tolerance") or {}
    plate_radius = plate.get("radius_mm")
    rows = [
        ("Form", str(record.get("form") or "")),
        ("Nominal radius", _with_u(record.get("radius_mm"), record.get("radius_u_mm"))),
        ("Diameter of the aperture", _length("", record.get("diameter_mm"))),
        ("Diameter over all", _length("", record.get("outside_diameter_mm"))),
        ("Width of the chamfer", _length("", record.get("chamfer_mm"))),
        ("Plate", str(plate.get("name") or "")),
        ("Certified radius of the plate", _with_u(plate_radius, plate.get("radius_u_mm"))),
        ("Tolerance of power", limit_cell(tolerance.get("power_fringes"), "±") or ""),
        (
            "Tolerance of irregularity",
            limit_cell(tolerance.get("irregularity_fringes"), "up to ") or "",
        ),
        ("Tolerance of radius", _length("±", tolerance.get("radius_difference_mm"))),
        ("Glass", str(record.get("glass") or "")),
        ("Usual lamp", str(record.get("lamp") or "")),
        ("Note", str(record.get("note") or "")),
        ("Version of this record", str(record.get("version") or "")),
    ]
    table = Table("The surface's record", ("Property", "Value"), [row for row in rows if row[1]])
    return Part("surface", "The surface", (), (), [table])


def evidence_part(
    rows: Sequence[VisitRow], latest: Mapping[str, Any], digests: Mapping[str, str]
) -> Part:
    """Return what the report rests on, with digests that prove it unchanged."""
    lamp = latest.get("lamp") or {}
    temperature = latest.get("temperature_c")
    facts = [
        ("Session", str(latest.get("session_id") or "")),
        ("Corrects", str(latest.get("replaces") or "")),
        ("When", str(latest.get("when") or "")),
        ("By", str(latest.get("by") or "")),
        ("Remarks", str(latest.get("remarks") or "")),
        ("Temperature", "" if temperature is None else f"{figures(temperature, 4)} °C"),
        ("Lamp", ", ".join(str(lamp[k]) for k in ("name", "source") if lamp.get(k))),
        ("Software", ", ".join(f"{k} {v}" for k, v in (latest.get("software") or {}).items())),
        ("SHA-256 of the session's content", str(latest.get("content_sha256") or "")),
    ]
    known = [row for row in facts if row[1]]
    tables = [Table("The latest visit", ("What", "Value"), known)] if known else []
    photographs = [
        (
            str(one.get("file_name") or "photograph"),
            str(one.get("sha256") or ""),
            f"not read: {one['refusal']}" if one.get("refusal") else "read",
        )
        for one in latest.get("photographs") or ()
    ]
    if photographs:
        tables.append(
            Table(
                "Photographs, with their original bytes in the session",
                ("File", "SHA-256", "Use"),
                photographs,
                coded=(1,),
                wide=True,
            )
        )
    sessions = [(str(row.visit), row.session_id, digests.get(row.session_id, "")) for row in rows]
    if sessions:
        tables.append(
            Table(
                "Sessions in the archive",
                ("Visit", "Session", "SHA-256 of its content"),
                sessions,
                coded=(1, 2),
                wide=True,
            )
        )
    lines = [str(latest["proven"])] if latest.get("proven") else []
    lines += [f"Not in this report: {line}." for line in latest.get("problems") or ()]
    return Part("evidence", "Evidence", lines, (), tables)


def _signed(value: float | None, u95: float | None, row: VisitRow) -> str:
    if value is None:
        return ""
    if row.sense in ("centre", "edge"):
        return plus_minus(value, u95, signed=True)
    return f"{plus_minus(abs(value), u95)}, sign unknown"


def limit_cell(value: float | None, before: str) -> str:
    """Return a limit in fringes after a sign or words; nothing where there is none."""
    return "" if value is None else f"{before}{limit_text(value)}"


def length_text(value: float | None) -> str:
    """Return a length in millimetres; nothing where there is none."""
    return _length("", value)


def _length(name: str, value: float | None, before: str = "") -> str:
    if value is None:
        return ""
    gap = "" if name in ("", "±") else " "
    return f"{name}{gap}{before}{figures(value, 6)} mm"


def _with_u(value: float | None, u: float | None) -> str:
    if value is None:
        return ""
    return plus_minus(value, half_width_if_any(u), "mm", digits=7)


def minute_text(when: Any) -> str:
    """A time to the minute; nothing where there is none."""
    return str(when).replace("T", " ")[:16] if when else ""
