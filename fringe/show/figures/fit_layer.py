"""The fit's dark fringes alone, on nothing: a layer to be laid over the photograph."""

from __future__ import annotations

import io

from matplotlib.figure import Figure

from fringe.orders.reading import Reading
from fringe.show.figures.fit_lines import every_for
from fringe.show.figures.overlay import fitted_lines
from fringe.show.figures.style import styled

_DPI = 100
_ROOM_PT, _WEIGHT_PT = 5.0, 1.1  # least distance between lines, and how broad one is


@styled
def fit_layer_png(
    reading: Reading,
    width: int,
    height: int,
    *,
    longest_px: int,
    diameter_mm: float | None = None,
    camera_distance_mm: float | None = None,
) -> bytes:
    """Draw the fitted dark fringes as a PNG that is transparent but for them.

    Parameters
    ----------
    reading : Reading
        Its `form` over its `edge`, or its `ring_fit`.
    width, height : int
        Of the photograph [px].
    longest_px : int
        Of the picture's longer side [px].
    diameter_mm, camera_distance_mm : float, optional
        As of :func:`fringe.show.figures.overlay.overlay_figure` [mm].

    Returns
    -------
    bytes
        Of the photograph's shape; empty of lines where the reading does not say where they lie.
    """
    scale = min(1.0, longest_px / max(width, height))
    figure = Figure((width * scale / _DPI, height * scale / _DPI), dpi=_DPI)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)  # y down, from the middle of the top left pixel
    lines = fitted_lines(reading, diameter_mm, camera_distance_mm)
    if lines is not None and lines.count:
        every = every_for(72 / _DPI * scale * lines.finest_px, _ROOM_PT)
        lines.draw(axes, every=every, x_from=-1.0, weight_pt=_WEIGHT_PT)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", transparent=True)
    return buffer.getvalue()
