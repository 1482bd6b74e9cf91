"""The image of the aperture's rim: an ellipse in the photograph."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Edge:
    """The work's edge in the photograph, an ellipse; a circle when `a == b`.

    Pixels count from the middle of the top left pixel, x to the right, y down.

    Attributes
    ----------
    cx, cy : float
        Centre [px].
    a, b : float
        Semi-axes [px], `a >= b`.
    angle_deg : float
        Direction of `a` from +x toward +y [degree].
    u_px : float
        Standard uncertainty of the semi-axes [px].
    """

    cx: float
    cy: float
    a: float
    b: float
    angle_deg: float = 0.0
    u_px: float = 0.0

    @property
    def cos_view(self) -> float:
        """Cosine of the angle of view, from the ellipse's shape: b / a."""
        return self.b / self.a

    def unit(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Map pixels to the unit disc.

        Parameters
        ----------
        x, y : array_like
            Pixel coordinates, any one shape.

        Returns
        -------
        u, v : ndarray
            Coordinates on the aperture, 1 at its rim; u along +x and v along +y of the
            photograph when the edge is a circle.
        """
        angle = np.deg2rad(self.angle_deg)
        cos, sin = np.cos(angle), np.sin(angle)
        dx, dy = np.asarray(x, float) - self.cx, np.asarray(y, float) - self.cy
        along, across = (cos * dx + sin * dy) / self.a, (cos * dy - sin * dx) / self.b
        # turned back, so that directions on the aperture keep those of the photograph
        return cos * along - sin * across, sin * along + cos * across

    def pixels(self, u: ArrayLike, v: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Map the unit disc to pixels, the inverse of `unit`."""
        angle = np.deg2rad(self.angle_deg)
        cos, sin = np.cos(angle), np.sin(angle)
        uu, vv = np.asarray(u, float), np.asarray(v, float)
        along, across = (cos * uu + sin * vv) * self.a, (cos * vv - sin * uu) * self.b
        return self.cx + cos * along - sin * across, self.cy + sin * along + cos * across

    def box(self, width: int, height: int) -> tuple[int, int, int, int]:
        """Part of a frame of some size [px] that holds the ellipse: left, top, right, bottom."""
        angle = np.deg2rad(self.angle_deg)
        cos, sin = np.cos(angle), np.sin(angle)
        half_w = float(np.hypot(self.a * cos, self.b * sin))
        half_h = float(np.hypot(self.a * sin, self.b * cos))
        return (
            max(0, int(np.floor(self.cx - half_w)) - 1),
            max(0, int(np.floor(self.cy - half_h)) - 1),
            min(width, int(np.ceil(self.cx + half_w)) + 2),
            min(height, int(np.ceil(self.cy + half_h)) + 2),
        )
