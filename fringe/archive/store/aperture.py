"""The aperture that a surface's power is quoted over."""

from __future__ import annotations

from fringe.archive.store.surface import E_LINE_NM, Surface
from fringe.errors import BadInput
from fringe.judge.tolerance.tolerance import Aperture


def surface_aperture(surface: Surface) -> Aperture:
    """The aperture of a surface, in the light of its tolerance; `BadInput` for a half sphere."""
    return Aperture(
        surface.plate_radius_mm,
        surface.diameter_mm,
        surface.tolerance.wavelength_nm or E_LINE_NM,
        surface.form,
    )


def aperture_if_any(surface: Surface) -> Aperture | None:
    """The aperture of a surface; None for a half sphere, which has none."""
    try:
        return surface_aperture(surface)
    except BadInput:
        return None
