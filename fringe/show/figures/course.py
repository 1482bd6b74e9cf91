"""The picture of a surface's progress, drawn from its state."""

from __future__ import annotations

from matplotlib.figure import Figure

from fringe.archive.views.surface_state import SurfaceState
from fringe.show.figures.progress import progress_figure
from fringe.show.figures.style import WIDTH_IN


def course_figure(
    state: SurfaceState,
    *,
    ahead: bool = False,
    irregularity: bool = True,
    width_in: float = WIDTH_IN,
) -> Figure:
    """Draw how a surface came down to its tolerance.

    Parameters
    ----------
    state : SurfaceState
        With at least one visit.
    ahead : bool
        Draw what the next work does, too.
    irregularity : bool
        Draw it below the power.
    width_in : float
        Of the figure [inch].

    Raises
    ------
    BadInput
        If there is no visit.
    """
    surface, tolerance = state.surface, state.laid.tolerance
    return progress_figure(
        state.rows,
        surface.name,
        tolerance.power_fringes,
        irregularity_tolerance_fringes=tolerance.irregularity_fringes,
        wavelength_nm=state.wavelength_nm,
        diameter_mm=surface.diameter_mm,
        forecast=state.next_step.forecast if ahead else None,
        width_in=width_in,
        irregularity=irregularity,
    )
