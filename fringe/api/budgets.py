"""Budgets from Python: of readings, with what is said of the bench, or of a logged visit."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fringe.api.typed import (
    FORMS,
    Length,
    LengthsMm,
    to_mm,
    to_sizes,
    to_surface,
    to_u,
    to_u_mm,
    to_word,
)
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.judge.uncertainty.budget import Budget
    from fringe.orders.reading import Reading


class BudgetWords(LengthsMm, total=False):
    """What is assumed of the bench; `u_` are standard uncertainties."""

    u_plate_form_nm: float
    u_axial_k: float
    u_pieces_k: float
    glass: str
    thickness: Length


def of_readings(
    readings: Sequence[Reading],
    sizes: tuple[Length | None, Length | None],
    plate_radius: Length | None,
    work: str,
    assumed: BudgetWords,
    trials: int,
) -> dict[str, Budget]:
    """Budgets of readings of one contact; raises `BadInput` as :func:`fringe.budget`.

    `sizes` are the diameter and the chamfer.
    """
    from fringe.judge.uncertainty.sources import Bench, reading_budgets
    from fringe.optics.thermal import glass

    name, said = assumed.get("glass"), to_sizes(*sizes, assumed)
    bench = Bench(
        work=to_word("work", work, FORMS),
        diameter_mm=said.aperture_mm,
        u_diameter_mm=said.u_aperture_mm(to_u_mm("u_diameter_mm", assumed.get("u_diameter_mm"))),
        plate_radius_mm=to_mm("plate_radius", plate_radius, assumed.get("plate_radius_mm")),
        u_plate_radius_mm=to_u_mm("u_plate_radius_mm", assumed.get("u_plate_radius_mm")),
        u_wavelength_nm=readings[0].u_wavelength_nm,
        u_plate_form_nm=to_u("u_plate_form_nm", assumed.get("u_plate_form_nm", 0.0)),
        u_axial_k=to_u("u_axial_k", assumed.get("u_axial_k", 0.0)),
        u_pieces_k=to_u("u_pieces_k", assumed.get("u_pieces_k", 0.0)),
        expansion_per_k=0.0 if name is None else glass(name).expansion_per_k,
        thickness_mm=to_mm("thickness", assumed.get("thickness"), None),
    )
    return reading_budgets(readings, bench, trials=trials).results


def of_surface(
    surface: Surface | str | os.PathLike[str],
    visit: int | None,
    assumed: BudgetWords,
    trials: int,
) -> dict[str, Budget]:
    """Budgets of a logged visit; raises `BadInput` as :func:`fringe.budget`."""
    from fringe.archive.views.session_budget import Assumptions, session_budgets

    for name in ("diameter_mm", "chamfer_mm", "plate_radius_mm", "camera_distance_mm"):
        if name in assumed:
            raise BadInput(f"{name}: the surface's record has it")
    folder = to_surface(surface).folder
    assert folder is not None
    budgets = session_budgets(
        str(folder),
        None if visit is None else str(visit),
        Assumptions(
            diameter_u_mm=to_u_mm("u_diameter_mm", assumed.get("u_diameter_mm")),
            plate_radius_u_mm=assumed.get("u_plate_radius_mm"),
            plate_form_u_nm=assumed.get("u_plate_form_nm"),
            axial_u_k=assumed.get("u_axial_k"),
            pieces_u_k=assumed.get("u_pieces_k"),
            glass=assumed.get("glass"),
            thickness_mm=to_mm("thickness", assumed.get("thickness"), None),
        ),
        trials=trials,
    )
    return {one.name: one for one in budgets.results}
