"""A reading in words and rows of text, the same in figures and in the report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from fringe.format import figures, fixed, plus_minus
from fringe.judge.state.visits import VisitRow
from fringe.optics.rings import centre_in_aperture

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface

SENSES = {
    "centre": "Contact at the centre: the gap opens toward the edge",
    "edge": "Contact at the edge: the gap opens toward the centre",
    "unknown": "Sense unknown: contact may be at the centre or at the edge",
}
SOURCES = {
    "given": "as given by hand",
    "contrast": "told by the fall of contrast",
    "press": "told by pressing",
    "two-lamp": "told by two lamps",
    "eye": "told by a lowered eye",
}


def work_cell(row: VisitRow, after_piece: str = "", *, rested: bool = True) -> str:
    """Work before a visit: stage, minutes, piece on top, and the rest since the lap.

    Examples: `#400 25 min, tool`; `9um 70 min, work 30 + tool 40`; `polish 40 min; rested 90 min`.
    Outside a table whose head says it, the words ` on top` go after the piece. Without `rested`
    the rest is left to :func:`rested_text`.
    """
    minutes = "" if row.minutes is None else f"{figures(row.minutes, 3)} min"
    split = " + ".join(f"{piece} {figures(part, 3)}" for piece, part in row.split)
    spell = " ".join(filter(None, [row.stage, minutes]))
    piece = split or row.on_top
    work = ", ".join(filter(None, [spell, piece and piece + after_piece]))
    rest = rested_text(row) if rested else ""
    return "; ".join(filter(None, [work, rest and f"rested {rest}"]))


def rested_text(row: VisitRow) -> str:
    """Return how long a surface had left the lap, as `90 min`; nothing where nobody said."""
    return "" if row.rested_minutes is None else f"{figures(row.rested_minutes, 3)} min"


def power_values(
    power: float | None, u95: float | None, sense: str, wavelength_nm: float | None
) -> dict[str, Any]:
    """Return a power in the keys of a reading, for what takes one."""
    return {
        "power_fringes": power,
        "power_u95_fringes": u95,
        "sense": sense,
        "wavelength_nm": wavelength_nm,
    }


class Headline(NamedTuple):
    """The one number that a reader looks for first."""

    label: str
    value: str
    unit: str


def headline(reading: Mapping[str, Any]) -> Headline:
    """Return the power, or the ring step where no edge is in view.

    Parameters
    ----------
    reading : mapping
        Keys of `fringe read --json`.
    """
    power = reading.get("power_fringes")
    if power is not None:
        signed = reading.get("sense") in ("centre", "edge")
        value = plus_minus(power, reading.get("power_u95_fringes"), signed=signed)
        label = "Power" if signed else "Power, sign unknown"
        return Headline(label, value, "fringes")
    step = reading.get("ring_step_px2")
    if step is not None:
        value = plus_minus(step, reading.get("ring_step_u95_px2"))
        return Headline("Ring step", value, "px² a ring")
    return Headline("Power", "not measured", "")


def headline_text(reading: Mapping[str, Any]) -> str:
    """Return the headline's value with its unit, and the coverage where it has an interval."""
    head = headline(reading)
    return f"{head.value} {head.unit}".strip() + (" (95 %)" if "±" in head.value else "")


def fringes_text(value: float, *, signed: bool = False) -> str:
    """Return a number of fringes that has no stated uncertainty, to a thousandth or three figures.

    For example ``0.104 fringes``, ``2.45 fringes``, ``152.4 fringes``.
    """
    decimals = 3 if abs(value) < 1 else 2 if abs(value) < 10 else 1
    return f"{fixed(value, decimals, signed=signed)} fringes"


def form_text(value: float, u95: float | None, unit: str = " fringes") -> str:
    """Return a figure of form, which is never negative, with its 95 % interval.

    For example ``0.31 ± 0.04 fringes``; where the interval reaches down to zero its upper end,
    ``under 0.06 fringes``; without an interval the bare number.
    """
    if u95 is None:
        return fringes_text(value).removesuffix(" fringes") + unit
    if value <= u95:
        return f"under {figures(value + u95, 2)}{unit}"
    return plus_minus(value, u95) + unit


def aperture_text(surface: Surface) -> str:
    """Return the aperture, and the diameter over all where a chamfer is known.

    For example ``aperture 149 mm (over all 150 mm, chamfer 0.5 mm)``.
    """
    text = f"aperture {figures(surface.diameter_mm, 6)} mm"
    if surface.chamfer_mm is None:
        return text
    if surface.chamfer_mm == 0:
        return f"{text} (no chamfer)"
    outside = figures(surface.outside_diameter_mm, 6)
    return f"{text} (over all {outside} mm, chamfer {figures(surface.chamfer_mm, 4)} mm)"


def limit_text(value: float) -> str:
    """Return a limit in fringes, for example ``1 fringe`` or ``0.5 fringes``."""
    return f"{figures(value)} fringe{'' if value == 1 else 's'}"


def sense_text(reading: Mapping[str, Any]) -> str:
    """Return where the contact is and how that is known."""
    text = SENSES.get(str(reading.get("sense")), SENSES["unknown"])
    source = reading.get("sense_source")
    return f"{text} ({SOURCES.get(source, source)})" if source else text


def reading_rows(reading: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return label and value of every quantity that the reading holds.

    Parameters
    ----------
    reading : mapping
        Keys of `fringe read --json`.

    Returns
    -------
    list of (str, str)
        What is null is left out; the headline's quantity too.
    """
    rows = [
        ("Radius, work − plate", _with_u95(reading, "radius_difference", "mm")),
        ("Irregularity (B)", _form(reading, "irregularity")),
        ("  symmetric (C)", _form(reading, "symmetric_irregularity")),
        ("  rms", _form(reading, "rms_irregularity")),
        ("Astigmatism", _form(reading, "astigmatism")),
        *(("Form", str(one["text"])) for one in reading.get("form") or ()),
        ("Tilt", _fringes(reading, "tilt_fringes")),
        ("Dark rings", _plain(reading.get("rings"))),
        ("Ring step", _ring_step(reading)),
        ("Effective radius", _effective_radius(reading)),
        ("Frames", _plain(reading.get("frames"))),
    ]
    return [(label, value) for label, value in rows if value]


def _effective_radius(reading: Mapping[str, Any]) -> str:
    """Radius of the sphere that would show the rings; straight fringes show none."""
    power, tilt = reading.get("power_fringes"), reading.get("tilt_fringes")
    if power is not None and tilt is not None and not centre_in_aperture(power, tilt):
        return ""
    return _long(reading.get("effective_radius_mm"))


def quality_rows(reading: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return label and value of how far the photograph supports the reading."""
    quality = reading.get("quality") or {}
    rows = [
        ("Fringe contrast", _number(quality.get("contrast"), "", 2)),
        ("Used", _percent(quality.get("used_fraction"))),
        ("Left by the fit", _percent(quality.get("residual"), " of amplitude")),
    ]
    return [(label, value) for label, value in rows if value]


def warnings_of(reading: Mapping[str, Any]) -> list[str]:
    """Return the reading's warnings."""
    return [str(one) for one in (reading.get("quality") or {}).get("warnings") or ()]


def _ring_step(reading: Mapping[str, Any]) -> str:
    if reading.get("power_fringes") is None:  # it is the headline there
        return ""
    return _with_u95(reading, "ring_step", "px²")


def _with_u95(reading: Mapping[str, Any], name: str, unit: str) -> str:
    value = reading.get(f"{name}_{unit.replace('²', '2')}")
    if value is None:
        return ""
    signed = name == "radius_difference" and reading.get("sense") in ("centre", "edge")
    return plus_minus(
        value, reading.get(f"{name}_u95_{unit.replace('²', '2')}"), unit, signed=signed
    )


def form_cell(value: float | None, u95: float | None) -> str:
    """A figure of form in a table's cell; empty where it was not measured."""
    return "" if value is None else form_text(value, u95, "")


def _fringes(reading: Mapping[str, Any], name: str) -> str:
    value = reading.get(name)
    return "" if value is None else fringes_text(value)


def _form(reading: Mapping[str, Any], name: str) -> str:
    value = reading.get(f"{name}_fringes")
    return "" if value is None else form_text(value, reading.get(f"{name}_u95_fringes"))


def _number(value: float | None, unit: str, count: int) -> str:
    return "" if value is None else f"{figures(value, count)} {unit}".strip()


def _long(value_mm: float | None) -> str:
    """Return a length of any size to five figures: two alike surfaces have one of kilometres."""
    if value_mm is None:
        return ""
    scale, unit = (1.0, "mm") if value_mm < 1e5 else (1e3, "m") if value_mm < 1e8 else (1e6, "km")
    return f"{figures(value_mm / scale, 5)} {unit}"


def _plain(value: Any) -> str:
    return "" if value is None else str(value)


def _percent(share: float | None, tail: str = "") -> str:
    return "" if share is None else f"{figures(100 * share, 2)} %{tail}"
