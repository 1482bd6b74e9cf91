"""Figures for the bench page, drawn when a device asks for them."""

from __future__ import annotations

import threading
from typing import Any

from fringe.archive.views.surface_state import surface_state
from fringe.bench.desk import Desk
from fringe.bench.shots import PREVIEW_PX
from fringe.errors import BadInput

DRAWING = threading.Lock()  # matplotlib draws one figure at a time


def fit_png(desk: Desk, identity: str) -> bytes:
    """Draw the fitted fringes over a photograph on the bench.

    Raises
    ------
    BadInput
        If the photograph is not there, or has no reading.
    """
    from fringe.photo.load import decode
    from fringe.show.figures.overlay import overlay_figure

    shot = desk.shot(identity)
    if shot.reading is None:
        raise BadInput(f"{shot.name}: it has no reading yet")
    surface = desk.chosen()
    samples, _ = decode(shot.data, shot.name)
    with DRAWING:
        return _png(
            overlay_figure(
                samples,
                shot.reading,
                surface=surface.name,
                diameter_mm=surface.diameter_mm,
                when=f"{shot.taken:%Y-%m-%d %H:%M}",
                camera_distance_mm=shot.options.camera_distance_mm if shot.options else None,
            )
        )


def fit_layer(desk: Desk, identity: str) -> bytes:
    """Draw the fitted fringes alone, to be laid over the preview; `BadInput` without a reading."""
    from fringe.show.figures.fit_layer import fit_layer_png

    shot = desk.shot(identity)
    if shot.reading is None:
        raise BadInput(f"{shot.name}: it has no reading yet")
    with DRAWING:
        return fit_layer_png(
            shot.reading,
            shot.width,
            shot.height,
            longest_px=PREVIEW_PX,
            diameter_mm=shot.options.diameter_mm if shot.options else None,
            camera_distance_mm=shot.options.camera_distance_mm if shot.options else None,
        )


def settling_png(desk: Desk) -> bytes:
    """Draw where the photographs on the bench lead; `BadInput` where they tell nothing."""
    from fringe.bench.sight import course_of
    from fringe.show.figures.settle import settle_figure

    surface = desk.chosen()
    found = course_of(surface, desk.shots())
    if found is None or found.found is None:
        raise BadInput("three photographs over some minutes tell where the glass settles")
    with DRAWING:
        return _png(
            settle_figure(
                found.minutes,
                *found.found,
                surface_name=surface.name,
                diameter_mm=surface.diameter_mm,
                when=f"{found.shots[0].shown_time:%Y-%m-%d %H:%M}",
            )
        )


def progress_png(desk: Desk) -> bytes:
    """Draw the logged visits of the surface on the bench; `BadInput` where there is nothing."""
    from fringe.show.figures.course import course_figure

    state = surface_state(desk.chosen(), alone=True)
    if not any(row.power_fringes is not None for row in state.rows):
        raise BadInput("no visit with a reading is logged yet")
    with DRAWING:
        return _png(course_figure(state))


def _png(figure: Any) -> bytes:
    from fringe.show.figures.style import png_bytes

    return png_bytes(figure)
