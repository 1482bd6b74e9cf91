"""Pictures of results as the bytes of PNG files, ready to be written."""

from __future__ import annotations

from fringe.archive.views.session_budget import SessionBudgets
from fringe.archive.views.settling import SettlingSeries
from fringe.show.figures.budget import budget_figure
from fringe.show.figures.settle import settle_figure
from fringe.show.figures.style import Facts, png_bytes


def budget_picture(budgets: SessionBudgets) -> bytes:
    """Shares of the inputs in each result."""
    session = budgets.session
    facts = Facts(
        wavelength_nm=budgets.wavelength_nm,
        diameter_mm=session.surface.diameter_mm,
        surface=session.surface.name,
        when=f"{session.summary.when:%Y-%m-%d %H:%M}",
    )
    return png_bytes(budget_figure(budgets.results, facts))


def settling_picture(series: SettlingSeries) -> bytes:
    """Power against time, and where it leads."""
    figure = settle_figure(
        series.minutes,
        series.powers,
        series.settled,
        surface_name=series.surface_name,
        diameter_mm=series.diameter_mm,
        when=series.when,
    )
    return png_bytes(figure)
