"""Records of instruments in rows of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from fringe.archive.instruments import Instrument
from fringe.archive.plate_maps import PlateMapFile
from fringe.archive.plates.state import PlateState
from fringe.format import figures, plus_minus
from fringe.quantity import half_width_if_any
from fringe.show.text.lines import line, remark, wrapped_line
from fringe.show.words import form_text


def added_rows(made: Instrument) -> list[str]:
    """A record that was just written, and its file."""
    return [f"{made.kind} {made.name}: {short(made)}", line("file", str(made.path))]


def list_rows(
    archive: Path, found: Sequence[Instrument], plates: Mapping[str, PlateState], today: date
) -> list[str]:
    """A row a record; of a plate with visits the radius that follows from them, and when due."""
    if not found:
        return [f"{archive} has no instruments on record yet"]
    rows = []
    for one in found:
        state = plates.get(one.name) if one.kind == "plate" else None
        rows.append(line(one.kind, f"{one.name}  {short(one, state)}"))
        late = None if state is None else state.overdue(today)
        rows += [remark(late)] if late else []
    return rows


def record_rows(
    found: Instrument, known: PlateMapFile | None = None, state: PlateState | None = None
) -> list[str]:
    """All that one record says; of a plate also its map, and what its own visits tell."""
    by_visits = state is not None and state.by == "visits"
    return [
        f"{found.kind} {found.name}, on record since {found.added}: {short(found)}",
        *(line(key, _plain(value)) for key, value in found.values.items()),
        *([] if known is None else map_rows(known)),
        *([line("by its visits", state.radius_text)] if state is not None and by_visits else []),
        *([line("due again", f"{state.due}")] if state is not None and state.due else []),
        *([] if found.path is None else [line("file", str(found.path))]),
    ]


def map_rows(known: PlateMapFile) -> list[str]:
    """Of when and how large the map of a plate's form is."""
    sizes, one = known.figures, known.known
    rows = [line("map of its form", f"of {one.when}, over {figures(one.diameter_mm, 6)} mm")]
    for label, name in (("  peak to valley", "irregularity"), ("  rms", "rms")):
        if f"{name}_nm" in sizes:
            shown = form_text(sizes[f"{name}_nm"], sizes.get(f"{name}_u95_nm"), " nm")
            rows.append(line(label, shown))
    if known.birge_ratio > 1.0:
        times = figures(known.birge_ratio, 2)
        text = f"its turning tests disagree, so it is known {times} times less well (Birge ratio)"
        rows.append(wrapped_line("", text))
    return [*rows, line("  file", str(known.path))]


def short(one: Instrument, state: PlateState | None = None) -> str:
    """What matters of an instrument, in a few words."""
    values = one.values
    if state is not None:
        due = "" if state.due is None else f", due on {state.due}"
        how = " by its visits" if state.by == "visits" else ""
        return f"{state.form}, radius {state.radius_text}{how}{due}"
    if one.kind == "plate":
        u = values.get("u_radius_mm")
        radius = plus_minus(values["radius_mm"], half_width_if_any(u), "mm", digits=7)
        return f"{values['form']}, radius {radius}"
    if one.kind == "spherometer":
        if "ring_inner_mm" in values:
            edges = [values["ring_inner_mm"], values.get("ring_outer_mm")]
            return f"ring {' / '.join(figures(one, 6) for one in edges if one)} mm"
        ball = values.get("ball_diameter_mm")
        feet = f"balls of {figures(ball, 5)} mm" if ball else "points"
        if "foot_circle_mm" in values:
            return f"{feet} on a circle of {figures(values['foot_circle_mm'], 6)} mm"
        return f"three {feet}, {' / '.join(figures(leg, 6) for leg in values['legs_mm'])} mm apart"
    if one.kind == "camera":
        parts = []
        for key, unit in (("distance_mm", "mm away"), ("scale_px_per_mm", "px/mm")):
            if key in values:
                u = values.get(f"u_{key}")
                parts.append(plus_minus(values[key], half_width_if_any(u), unit, digits=5))
        return ", ".join(parts)
    return " + ".join(f"{figures(each['wavelength_nm'], 7)} nm" for each in values["lines"])


def _plain(value: object) -> str:
    if isinstance(value, list):
        return "; ".join(_plain(one) for one in value)
    if isinstance(value, dict):
        return ", ".join(f"{key} {one:g}" for key, one in value.items())
    return f"{value:.10g}" if isinstance(value, float) else str(value)
