"""A surface's record in rows of text."""

from __future__ import annotations

from fringe.archive.store.index import Entry
from fringe.archive.store.surface import Surface
from fringe.format import figures, plus_minus
from fringe.judge.tolerance.verdict import Tolerance
from fringe.quantity import half_width_if_any
from fringe.show.text.lines import line, wrapped_line
from fringe.show.words import aperture_text


def listed_rows(entry: Entry) -> list[str]:
    """A surface of an archive, and how far it has come; nothing for a record that is damaged."""
    if entry.surface is None:
        return []
    return [*surface_rows(entry.surface)[:3], _visits_row(entry)]


def surface_rows(surface: Surface) -> list[str]:
    """All that the record says; the name first."""
    radius = plus_minus(surface.radius_mm, half_width_if_any(surface.radius_u_mm), "mm", digits=7)
    aperture = aperture_text(surface)
    rows = [
        surface.name,
        line("form", f"{surface.form}, radius {radius}, {aperture}"),
        line("folder", str(surface.folder)),
    ]
    plate = surface.plate
    if plate.name or plate.radius_mm is not None:
        shown = (
            ""
            if plate.radius_mm is None
            else plus_minus(plate.radius_mm, half_width_if_any(plate.radius_u_mm), "mm", digits=7)
        )
        rows.append(line("plate", ", radius ".join(filter(None, [plate.name or "no name", shown]))))
    if surface.as_typed is not None:
        rows.append(wrapped_line("as typed", surface.as_typed))
    rows.append(line("tolerance", _tolerance_text(surface.tolerance)))
    rows += [
        line(label, text)
        for label, text in (
            ("lamp", surface.lamp),
            ("glass", surface.glass),
            ("note", surface.note),
            ("watches", surface.watches),
        )
        if text
    ]
    if surface.changed_at is not None:
        when = surface.changed_at.strftime("%Y-%m-%d %H:%M")
        rows.append(line("record", f"version {surface.version}, {when}"))
    return rows


def _tolerance_text(tolerance: Tolerance) -> str:
    limits = []
    if tolerance.power_fringes is not None:
        limits.append(f"power ±{figures(tolerance.power_fringes)} fringes")
    if tolerance.irregularity_fringes is not None:
        limits.append(f"irregularity {figures(tolerance.irregularity_fringes)} fringes")
    if tolerance.radius_difference_mm is not None:
        limits.append(f"radius ±{figures(tolerance.radius_difference_mm)} mm")
    if not limits:
        light = tolerance.wavelength_nm
        return "none" if light is None else f"none; fringes at {light:.2f} nm"
    return f"{', '.join(limits)}; fringes at {tolerance.wavelength_nm:.2f} nm, {tolerance.rule}"


def _visits_row(entry: Entry) -> str:
    if not entry.visits:
        return line("visits", "none yet")
    last = entry.visits[-1]
    stage = "" if last.work.stage is None else f", after {last.work.stage}"
    return line("visits", f"{len(entry.visits)}, the last {last.when:%Y-%m-%d %H:%M}{stage}")
