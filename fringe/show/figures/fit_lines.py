"""Where a fit puts the centres of the dark fringes, as lines over the photograph."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from fringe.orders.reading import FormFit, RingFit
from fringe.photo.ellipse import Edge
from fringe.show.figures.form_grid import form_on_grid
from fringe.show.figures.scales import nice_step
from fringe.show.figures.style import AMBER

Array = NDArray[np.float64]
CosView = Callable[[Array, Array], Array]
_GRID = 401  # a side: straight between its points, a line is off by under 0.002 fringe
_ROUNDING = 1e-9  # of an order that is whole at the rim
_BEYOND = 1.02  # lines are reckoned a little past the rim, then clipped at it


@dataclass(frozen=True)
class Place:
    """A square of the photograph worth a close look: centre and half side [px]."""

    x: float
    y: float
    half: float


def every_for(spacing_pt: float, room_pt: float) -> int:
    """Return how many fringes lie from one line to the next, for lines to have room."""
    return max(1, round(nice_step(room_pt / spacing_pt, 1)))


class FitLines(Protocol):
    """Lines of a fit."""

    @property
    def count(self) -> int:
        """How many dark fringes there are."""

    @property
    def finest_px(self) -> float:
        """Distance between neighbouring dark fringes where they are closest [px]."""

    @property
    def split_x(self) -> float:
        """Where the bare half of the picture ends [px]."""

    def draw(self, axes: Axes, *, every: int, x_from: float, weight_pt: float) -> None:
        """Draw every so-many-th line right of `x_from`, clipped to the aperture.

        The axes' limits must be set.
        """

    def places(self, width: int, height: int) -> tuple[Place, Place]:
        """Return where fringes are finest, and a second place of middling fineness."""


class FormLines:
    """Dark fringes of a form fitted over an edge.

    Parameters
    ----------
    form : FormFit
        With its piston, so that dark fringes are at whole orders.
    edge : Edge
        The aperture's rim [px].
    cos_view : callable or None
        Cosine of the angle of view at (u, v) on the unit disc: the picture's order is the
        gap's, as at normal view, times it (2 h cos(theta) = m lambda). None: `edge.cos_view`
        all over.
    """

    def __init__(self, form: FormFit, edge: Edge, cos_view: CosView | None = None) -> None:
        side = np.linspace(-1.0, 1.0, _GRID)
        u, v = np.meshgrid(side, side)
        self.form, self.edge, self._cos_view = form, edge, cos_view
        self.order = self._order(u, v)
        self.x, self.y = edge.pixels(u, v)
        inside = u * u + v * v <= 1.0
        self.lowest = int(np.ceil(self.order[inside].min() - _ROUNDING))
        self.highest = int(np.floor(self.order[inside].max() + _ROUNDING))
        self._density = np.where(u * u + v * v <= 0.92**2, self._orders_per_px(side), 0.0)

    def _orders_per_px(self, side: Array) -> Array:
        down, across = np.gradient(self.order, side, side)
        # along the ellipse's own axes a step on the disc is `a` or `b` pixels
        angle = np.deg2rad(self.edge.angle_deg)
        along = np.cos(angle) * across + np.sin(angle) * down
        other = np.cos(angle) * down - np.sin(angle) * across
        return np.asarray(np.hypot(along / self.edge.a, other / self.edge.b))

    @property
    def count(self) -> int:
        """How many dark orders the aperture holds."""
        return max(0, self.highest - self.lowest + 1)

    @property
    def finest_px(self) -> float:
        """Distance between neighbouring dark fringes where they are closest [px]."""
        return 1.0 / max(float(self._density.max()), 1e-9)

    @property
    def split_x(self) -> float:
        """The edge's centre [px]."""
        return self.edge.cx

    def draw(self, axes: Axes, *, every: int, x_from: float, weight_pt: float) -> None:
        """Draw every so-many-th line that the axes' window holds, clipped at the edge."""
        x, y = self._window(axes)
        order, rho = self._order_at(x, y)
        seen = order[rho <= 1.0]
        if not seen.size:
            return
        # a line may pass between the points of the grid
        low = max(self.lowest, int(np.floor(seen.min())))
        high = min(self.highest, int(np.ceil(seen.max())))
        levels = [m for m in range(low, high + 1) if m % every == 0]
        if not levels:
            return
        lines = axes.contour(
            x,
            y,
            np.where(rho <= _BEYOND, order, np.nan),
            levels=levels,
            colors=[AMBER],
            linewidths=weight_pt,
            linestyles="solid",
            alpha=0.85,
        )
        lines.set_clip_path(_clip(axes, *rim(self.edge), x_from))

    def _window(self, axes: Axes) -> tuple[Array, Array]:
        """Lay a grid over the axes' window, no further out than the edge reaches [px]."""
        outline = rim(self.edge)
        sides = []
        for limits, points in zip((axes.get_xlim(), axes.get_ylim()), outline, strict=True):
            middle, reach = (points.min() + points.max()) / 2, _BEYOND * np.ptp(points) / 2
            low, high = max(min(limits), middle - reach), min(max(limits), middle + reach)
            sides.append(np.linspace(low, high, _GRID))
        x, y = np.meshgrid(*sides)
        return x, y

    def _order_at(self, x: Array, y: Array) -> tuple[Array, Array]:
        u, v = self.edge.unit(x, y)
        return self._order(u, v), np.hypot(u, v)

    def _order(self, u: Array, v: Array) -> Array:
        cosine = self.edge.cos_view if self._cos_view is None else self._cos_view(u, v)
        return np.asarray(form_on_grid(self.form, u, v) * cosine)

    def places(self, width: int, height: int) -> tuple[Place, Place]:
        """Return where fringes are finest, and a place half as far out on the other side."""
        seen = (
            (self.x > 0.02 * width)
            & (self.x < 0.98 * width)
            & (self.y > 0.02 * height)
            & (self.y < 0.98 * height)
        )
        first = np.unravel_index(np.argmax(self._density * seen), self.order.shape)
        middle = _GRID // 2
        second = tuple(int(middle - 0.5 * (i - middle)) for i in first)
        return self._place(int(first[0]), int(first[1])), self._place(*second)

    def _place(self, row: int, column: int) -> Place:
        spacing = 1.0 / max(float(self._density[row, column]), 1e-9)
        half = float(np.clip(5.0 * spacing, 12.0, max(12.0, 0.16 * self.edge.b)))
        return Place(float(self.x[row, column]), float(self.y[row, column]), half)


class RingLines:
    """Dark rings about their own centre, where no edge is in view."""

    def __init__(self, fit: RingFit) -> None:
        self.fit = fit
        low, high = int(np.ceil(fit.orders.min())), int(np.floor(fit.orders.max()))
        orders = np.arange(low, high + 1)
        squares = fit.intercept_px2 + fit.step_px2 * orders
        self.orders = orders[squares > 0]
        self.radii_px = np.sqrt(squares[squares > 0])

    @property
    def count(self) -> int:
        """How many rings there are."""
        return len(self.orders)

    @property
    def finest_px(self) -> float:
        """Distance between the two outermost rings [px]."""
        return self.fit.step_px2 / (2.0 * float(self.radii_px.max(initial=1.0)))

    @property
    def split_x(self) -> float:
        """The rings' centre [px]."""
        return self.fit.cx

    def draw(self, axes: Axes, *, every: int, x_from: float, weight_pt: float) -> None:
        """Draw every so-many-th ring right of `x_from`."""
        turn = np.linspace(0.0, 2 * np.pi, 721)
        kept = self.radii_px[self.orders % every == 0]
        rings = [
            np.column_stack((self.fit.cx + r * np.cos(turn), self.fit.cy + r * np.sin(turn)))
            for r in kept
        ]
        lines = LineCollection(rings, colors=[AMBER], linewidths=weight_pt, alpha=0.85)
        axes.add_collection(lines, autolim=False)
        x0, x1 = sorted(axes.get_xlim())
        y0, y1 = sorted(axes.get_ylim())
        corners = np.array([x0, x1, x1, x0]), np.array([y0, y0, y1, y1])
        lines.set_clip_path(_clip(axes, *corners, x_from))

    def places(self, width: int, height: int) -> tuple[Place, Place]:
        """Return a place on the outermost rings and one half way in, on the clearest side."""
        outer = float(self.radii_px.max(initial=1.0))
        turn = np.deg2rad(np.arange(0, 360, 15))
        x = self.fit.cx + outer * np.cos(turn)
        y = self.fit.cy + outer * np.sin(turn)
        room = np.minimum(np.minimum(x, width - x), np.minimum(y, height - y))
        best = turn[int(np.argmax(room))]
        return self._place(0.85 * outer, best), self._place(0.5 * outer, best + np.pi)

    def _place(self, radius: float, direction: float) -> Place:
        half = float(np.clip(5.0 * self.fit.step_px2 / (2.0 * radius), 12.0, 0.2 * radius + 12))
        return Place(
            self.fit.cx + radius * float(np.cos(direction)),
            self.fit.cy + radius * float(np.sin(direction)),
            half,
        )


def rim(edge: Edge) -> tuple[Array, Array]:
    """Points along an edge [px]."""
    turn = np.linspace(0.0, 2 * np.pi, 361)
    return edge.pixels(np.cos(turn), np.sin(turn))


def _clip(axes: Axes, x: Array, y: Array, x_from: float) -> Polygon:
    """Make an unseen patch to clip by: a convex outline, cut off left of `x_from`."""
    outline = np.column_stack((np.maximum(x, x_from), y))
    patch = Polygon(outline, closed=True, transform=axes.transData, fill=False, linewidth=0)
    patch.set_figure(axes.figure)
    return patch
