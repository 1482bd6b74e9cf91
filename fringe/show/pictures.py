"""Pictures of results as the bytes of PNG files, ready to be written."""

from __future__ import annotations

from fringe.archive.views.settling import SettlingSeries
from fringe.show.figures.settle import settle_figure
from fringe.show.figures.style import png_bytes


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
