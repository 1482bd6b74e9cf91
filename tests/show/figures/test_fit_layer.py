from __future__ import annotations

import io
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from fringe.show.figures.fit_layer import fit_layer_png


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_the_layer_is_lines_alone_where_dark_fringes_lie(made_reading, share):
    """Dark fringe m of a pure power N is drawn at r = R sqrt(m / N), nothing between (analytic)."""
    reading = made_reading(4.0, sense="centre")
    edge, (width, height) = reading.edge, (420, 300)
    data = fit_layer_png(reading, width, height, longest_px=round(share * width))
    alpha = np.asarray(Image.open(io.BytesIO(data)))[..., 3]
    assert alpha.shape == (share * height, share * width)
    assert (alpha > 0).mean() < 0.15

    def drawn(r):
        """Whether a line lies within a pixel of this radius, to the left of the centre."""
        x, y = (edge.cx - r + 0.5) * share, (edge.cy + 0.5) * share
        column = round(x - 0.5)
        return alpha[round(y - 0.5), column - 1 : column + 2].max() > 60

    radii = [edge.a * np.sqrt(m / 4) for m in (1, 2, 3)]
    assert all(drawn(r) for r in radii)
    assert not any(drawn((a + b) / 2) for a, b in pairwise(radii))
