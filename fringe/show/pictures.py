"""Pictures of results as the bytes of PNG files, ready to be written.

Matplotlib is imported only where one is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fringe.archive.views.judged_pair import JudgedPair
    from fringe.archive.views.planning import PlannedSurfaces
    from fringe.archive.views.session_budget import SessionBudgets
    from fringe.archive.views.settling import SettlingSeries
    from fringe.archive.views.surface_state import SurfaceState
    from fringe.archive.views.turning import TurningTest
    from fringe.orders.asked import AskedReading


def budget_picture(budgets: SessionBudgets) -> bytes:
    """Shares of the inputs in each result."""
    from fringe.show.figures.budget import budget_figure
    from fringe.show.figures.style import Facts, png_bytes

    session = budgets.session
    facts = Facts(
        wavelength_nm=budgets.wavelength_nm,
        diameter_mm=session.surface.diameter_mm,
        surface=session.surface.name,
        when=f"{session.summary.when:%Y-%m-%d %H:%M}",
    )
    return png_bytes(budget_figure(budgets.results, facts))


def course_picture(state: SurfaceState) -> bytes:
    """How a surface came down to its tolerance, and what the next work does."""
    from fringe.show.figures.course import course_figure
    from fringe.show.figures.style import png_bytes

    return png_bytes(course_figure(state, ahead=True))


def overlay_picture(asked: AskedReading) -> bytes:
    """The fitted dark fringes over the photograph."""
    from fringe.photo.when import taken_text
    from fringe.show.figures.overlay import overlay_figure
    from fringe.show.figures.style import png_bytes

    assert asked.photo is not None
    figure = overlay_figure(
        asked.photo if asked.samples is None else asked.samples,
        asked.reading,
        title=f"{asked.photo.name} with the fitted dark fringes",
        when=taken_text(asked.photo),
        diameter_mm=asked.options.diameter_mm,
        camera_distance_mm=asked.options.camera_distance_mm,
    )
    return png_bytes(figure)


def pair_picture(judged: JudgedPair) -> bytes:
    """What each piece of evidence says of the pair, and the estimate of all."""
    from fringe.show.figures.pair import pair_figure
    from fringe.show.figures.style import png_bytes

    figure = pair_figure(judged.pair, judged.step, when=judged.record.days_text())
    return png_bytes(figure)


def plan_picture(found: PlannedSurfaces) -> bytes:
    """Work and rest of the surfaces over the days, and when each is likely finished."""
    from fringe.show.figures.plan import plan_figure
    from fringe.show.figures.style import png_bytes

    return png_bytes(plan_figure(found.plan, pair=found.request.pair))


def settling_picture(series: SettlingSeries) -> bytes:
    """Power against time, and where it leads."""
    from fringe.show.figures.settle import settle_figure
    from fringe.show.figures.style import png_bytes

    figure = settle_figure(
        series.minutes,
        series.powers,
        series.settled,
        surface_name=series.surface_name,
        diameter_mm=series.diameter_mm,
        when=series.when,
    )
    return png_bytes(figure)


def turning_picture(test: TurningTest) -> bytes:
    """Maps of the work's own form and the plate's."""
    from fringe.show.figures.style import Facts, png_bytes
    from fringe.show.figures.turning_maps import turning_figure

    facts = Facts(test.wavelength_nm, test.options.diameter_mm)
    return png_bytes(turning_figure(test.forms, facts))
