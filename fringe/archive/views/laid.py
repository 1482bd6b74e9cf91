"""On which piece the work was laid, over which circle of it, and where that lay."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from fringe.archive.store.session import LoggedReading
from fringe.archive.store.surface import Plate, Surface, find_surface
from fringe.errors import BadInput
from fringe.orders.chamfer import u_face_mm
from fringe.units import TypedLength


def as_laid(
    surface: Surface,
    aperture_mm: float | None,
    against: str | None,
    chamfer_mm: float | None = None,
) -> Surface:
    """The surface with the circle and the piece that a contact was over.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    aperture_mm : float or None
        Diameter of a plate smaller than the work [mm].
    against : str or None
        Surface of the same archive that the work was laid on, not on the plate.
    chamfer_mm : float or None
        Width of the work's chamfer, where it was not that of its record [mm].

    Raises
    ------
    BadInput
        If the circle is larger than the work, or the other piece does not fit.
    """
    laid = surface
    if chamfer_mm is not None:
        if aperture_mm is not None:
            raise BadInput("--chamfer is of the work, --aperture of a smaller plate; give one")
        laid = surface.with_chamfer(chamfer_mm)
    if aperture_mm is not None:
        if aperture_mm > surface.diameter_mm:
            raise BadInput(
                f"--aperture: {aperture_mm:g} mm is more than the work's {surface.diameter_mm:g} mm"
            )
        laid = dataclasses.replace(laid, diameter_mm=aperture_mm, chamfer_mm=None)
    if against is not None:
        partner = _partner(surface, against)
        laid = dataclasses.replace(laid, plate=Plate(partner.name, partner.radius_mm))
    return laid


def sizes_of(laid: Surface) -> dict[str, float | None]:
    """What a reading over the circle of a work as it lay takes of its sizes [mm]."""
    return {
        "diameter_mm": laid.diameter_mm,
        "chamfer_mm": laid.chamfer_mm,
        "u_diameter_mm": u_face_mm(laid.diameter_mm, laid.chamfer_mm),
    }


def other_circle(laid: Surface, surface: Surface) -> float | None:
    """Diameter of the circle, where it is not the work's aperture on record [mm].

    That of a smaller plate, or of the face inside another chamfer.
    """
    return laid.diameter_mm if laid.diameter_mm != surface.diameter_mm else None


def _partner(surface: Surface, name: str) -> Surface:
    assert surface.folder is not None
    partner = find_surface(f"{surface.folder.parent}/{name}")
    if partner.form == surface.form:
        raise BadInput(
            f"--against: {partner.name} is {partner.form} like {surface.name}; the two do not fit"
        )
    return partner


def stated_places(
    stated: Sequence[Sequence[TypedLength]],
    photos: int,
    aperture: float | None,
    diameter_mm: float,
) -> list[tuple[float, float]]:
    """Where each photograph's circle lay on the work [mm]; empty where nothing was said."""
    if not stated:
        return []
    if aperture is None:
        raise BadInput("--place says where a smaller plate lay; give its --aperture as well")
    places = []
    for pair in stated:
        if len(pair) != 2:
            raise BadInput("--place takes two lengths, across and down, as 40mm,0mm")
        across, down = pair
        places.append((across.mm, down.mm))
        if math.hypot(across.mm, down.mm) >= diameter_mm / 2:
            raise BadInput(f"--place: {across.text}, {down.text} from the centre is off the work")
    if len(places) == 1:
        return places * photos
    if len(places) != photos:
        raise BadInput(f"--place: {len(places)} places for {photos} photographs; give one for each")
    return places


def place_of(
    one: LoggedReading, places: Sequence[tuple[float, float]]
) -> tuple[float, float] | None:
    """Where a reading's circle lay; None where nothing was said, or it has no photograph."""
    return places[one.photographs[0] - 1] if places and one.photographs else None
