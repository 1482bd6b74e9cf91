"""Forecasts in words: what the next spell does to a surface, and what was learned of the work."""

from __future__ import annotations

from fringe.archive.store.aperture import aperture_if_any
from fringe.archive.store.surface import Surface
from fringe.archive.views.surface_state import SurfaceState
from fringe.errors import BadInput
from fringe.format import figures, fixed, uncertainty_decimals
from fringe.judge.advice.step import Pits, round_minutes
from fringe.judge.progress import Progress
from fringe.judge.state.abrasives import stage
from fringe.judge.state.forecast import Forecast, Interval
from fringe.judge.tolerance.half_width import half_width_um
from fringe.optics.spheres import radius_difference_mm
from fringe.units import times


def spell_lines(state: SurfaceState, wavelength_nm: float) -> list[str]:
    """Where the next spell takes the surface, and how likely that is inside."""
    surface, step = state.laid, state.next_step
    found = step.forecast
    rows = []
    if step.moves:
        rows.append(f"So {step.moves}.")
    if step.pits is not None:
        rows.append(_pits_line(step.pits))
    if step.minutes is None or found is None or found.after_um is None:
        return rows
    power = _range(_in_fringes(found.after_um, wavelength_nm), "fringes")
    text = f"After {round_minutes(step.minutes)} min power will be {power}"
    radius = _radii(found.after_um, surface, wavelength_nm)
    if radius is not None:
        text += f", work − {state.laid_on} {_range(radius, 'mm')}"
    if found.inside_after is not None:
        text += f"; {100 * found.inside_after:.0f} % likely {_within(found, surface)}"
    chance = min(99, max(1, round(100 * found.chance)))
    return [*rows, f"{text}.", f"This work gets there at all in {chance} of 100 cases."]


def _pits_line(pits: Pits) -> str:
    """How far the pits of the grit before are gone."""
    text = f"Pits of {pits.left_by}"
    if pits.gone:
        return f"{text} are gone."
    if pits.gone is None:
        text += f" are {100 * pits.chance_left:.0f} % likely left"
    else:
        text += " are left"
    text += f", up to {figures(max(pits.depth_um, 1.0), 2)} µm deep"
    if pits.minutes_left:
        text += f"; about {round_minutes(pits.minutes_left)} min take them out"
    return f"{text}. A look through a loupe tells (--pits), or a gauge (--removed)."


def _within(found: Forecast, surface: Surface) -> str:

    band = half_width_um(surface.tolerance, aperture_if_any(surface))
    if band is not None and found.half_width_um <= band * (1 + 1e-9):
        return "inside"
    return "as near as this grit needs"


def learned_lines(result: Progress, wavelength_nm: float) -> list[str]:
    """One line for each kind of work: its rate, and what it was learned from."""
    names = {stage(row.stage).key: row.stage for row in result.rows if row.stage}
    rows = []
    for one in result.rates:
        if one.borrowed:
            continue
        name = names.get(one.kind.stage, one.kind.stage) or "work"
        top = f", {one.kind.on_top} on top" if one.kind.on_top else ""
        rate = _range(_in_fringes(one.rate_um_h, wavelength_nm), "fringes/h")
        if max(abs(one.rate_um_h.low or 0), abs(one.rate_um_h.high or 0)) > 30:
            rate = _range(one.rate_um_h, "µm/h of sagitta")
        rows.append(f"  {name}{top}: {rate}, from {_source(one)}")
    return ["Learned:", *rows] if rows else []


def _source(one: Forecast) -> str:
    parts = []
    if one.spells:
        spells = "one spell" if one.spells == 1 else f"{one.spells} spells"
        parts.append(f"{spells} of this surface, {one.learned_minutes:.0f} min")
    if one.surfaces:
        like = "a like surface" if one.surfaces == 1 else f"{one.surfaces} like surfaces"
        parts.append(like)
    return " and ".join(parts)


def _in_fringes(um: Interval, wavelength_nm: float) -> Interval:
    scale = 2000.0 / wavelength_nm
    return Interval(*(times(end, scale) for end in (um.median, um.low, um.high)))


def _radii(um: Interval, surface: Surface, wavelength_nm: float) -> Interval | None:
    """The same ends as radius differences [mm]."""
    scale = 2000.0 / wavelength_nm
    ends = []
    for end in (um.median, um.low, um.high):
        if end is None:
            return None
        try:
            ends.append(
                radius_difference_mm(
                    end * scale,
                    surface.plate_radius_mm,
                    surface.diameter_mm,
                    wavelength_nm,
                    surface.form,
                )
            )
        except BadInput:
            return None
    middle, *outer = ends
    return Interval(middle, min(outer), max(outer))


def _range(one: Interval, unit: str) -> str:
    """Both ends with as many decimals as their distance deserves, `−1.2 to +0.8 fringes`."""
    if one.low is None or one.high is None:
        return "not known"
    half = (one.high - one.low) / 2
    decimals = uncertainty_decimals(half) if half > 0 else 2
    low, high = (fixed(end, decimals, signed=True) for end in (one.low, one.high))
    return f"{low} to {high} {unit}"
