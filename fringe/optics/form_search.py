"""Which few shapes explain a form, by generalised least squares, and with what doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.optics.form_shapes import STEP, Shapes
from fringe.quantity import half_width

Array = NDArray[np.float64]
# Least drop of chi^2, in units of what is left for each degree of freedom: a zone may lie anywhere
# and be of any width, so that chance has many tries. Counted on rendered perfect spheres, clean
# and dirty (`tests/benchmarks/formnames.py`).
_CLEAR = 25.0
# A further feature is named only where it is not the shape of the first ones that it betters:
# a real zone need not be a Gaussian
_LEAST_SHARE = 0.25
# and only while this share of the form's root mean square, or more, is left
_LEFT = 0.15
_MOST = 3
_SURE = 2.0  # half-widths that each of several is above zero at least
_SHAPE = 0.04  # standard uncertainty of heights from shapes that are none of these, a share
_ALIKE = 0.9  # projections that are so alike cannot be told apart


@dataclass(frozen=True)
class _Pairs:
    """Any two shapes together, shape (A, A) each.

    Attributes
    ----------
    gain : ndarray
        Drop of chi^2; minus infinity where they cannot stand side by side.
    height, variance : ndarray
        Of the first of the two, beside the second [fringe], [fringe^2].
    """

    gain: Array
    height: Array
    variance: Array


class Search:
    """The fewest shapes that explain a form, whitened by its covariance.

    Parameters
    ----------
    shapes : Shapes
    seen : ndarray, shape (T,)
        Coefficients of the form [fringe].
    root : ndarray, shape (T, T)
        Of their covariance, by Cholesky.
    weight : ndarray, shape (T,)
        Mean square over the disc of each term.
    """

    def __init__(self, shapes: Shapes, seen: Array, root: Array, weight: Array) -> None:
        self.shapes, self.root, self.weight = shapes, root, weight
        self.design: Array = np.asarray(np.linalg.solve(root, shapes.projected), float)
        self.seen: Array = np.asarray(np.linalg.solve(root, seen), float)
        self.count = len(seen)
        self._known: dict[tuple[int, ...], _Pairs] = {}

    def described(self) -> list[dict[str, object]]:
        """Place, width and height of the shapes that are needed, with their doubt.

        Where one of several is not far beyond its doubt, fewer must do.
        """
        for most in range(_MOST, 0, -1):
            kept = self._chosen(most)
            scale = self._scale(self._chi2(kept), kept) if kept else 1.0
            found = [self._described(kept, one, scale) for one in range(len(kept))]
            sure = _SURE if len(found) > 1 else 1.0
            if all(abs(one["height_fringes"]) > sure * one["height_u95_fringes"] for one in found):
                return [dict(one) for one in found]
        return []

    def _chosen(self, most: int) -> list[int]:
        """At most so many shapes, each for the clear drop of chi^2 that it makes."""
        kept: list[int] = []
        found: list[int] | None = []
        left = float(self.seen @ self.seen)
        for count in range(1, most + 1):
            if left < _CLEAR or self._followed(kept):
                break
            found = self._pair() if count == 2 else self._with_one_more(found or [])
            if found is None:
                break
            then = self._chi2(found)
            # two features may be plain where neither explains much alone
            if left - then < (count - len(kept)) * _CLEAR * self._scale(then, found):
                continue
            heights = np.abs(self._heights(found)[0])
            if heights.min() >= _LEAST_SHARE * heights.max():
                kept, left = found, then
        return kept

    def _followed(self, kept: list[int]) -> bool:
        """Whether some shapes leave no more of the form than their own shape may explain."""
        if not kept:
            return False
        rest = self.root @ (self.seen - self.design[:, kept] @ self._heights(kept)[0])
        form = self.root @ self.seen
        noise = float(self.weight @ np.einsum("tk,tk->t", self.root, self.root))
        unexplained = float(self.weight @ rest**2) - noise
        return unexplained < _LEFT**2 * max(float(self.weight @ form**2) - noise, 0.0)

    def _pair(self) -> list[int] | None:
        """The two shapes that explain most together."""
        gain = self._pairs([]).gain
        one, other = divmod(int(np.argmax(gain)), len(gain))
        return [one, other] if np.isfinite(gain[one, other]) else None

    def _pairs(self, fixed: list[int]) -> _Pairs:
        """What any two shapes explain together, beside some that are fixed; worked out once."""
        key = tuple(sorted(fixed))
        if key not in self._known:
            self._known[key] = self._new_pairs(fixed)
        return self._known[key]

    def _new_pairs(self, fixed: list[int]) -> _Pairs:
        design, seen = self._beside(fixed)
        gram, along = design.T @ design, design.T @ seen
        size = np.diag(gram)
        product = np.outer(size, size)
        determinant = product - gram**2
        barred = self.shapes.meeting | self.shapes.meeting[fixed].any(axis=0)
        able = (determinant > (1 - _ALIKE**2) * product) & ~(barred | barred.T)
        able &= self._apart(size) & self._apart(size)[:, None]
        determinant = np.where(able, determinant, 1.0)
        height = (along[:, None] * size - gram * along) / determinant
        gain = height * along[:, None] + height.T * along
        return _Pairs(np.where(able, gain, -np.inf), height, size / determinant)

    def _beside(self, others: list[int]) -> tuple[Array, Array]:
        """Design and form without what some shapes explain."""
        if not others:
            return self.design, self.seen
        basis = np.linalg.qr(self.design[:, others])[0]
        design = np.asarray(self.design - basis @ (basis.T @ self.design), float)
        return design, np.asarray(self.seen - basis @ (basis.T @ self.seen), float)

    def _apart(self, size: Array) -> NDArray[np.bool_]:
        """Shapes of which enough is left beside others, by their squared lengths there."""
        whole = np.einsum("ta,ta->a", self.design, self.design)
        return np.asarray(size > (1 - _ALIKE**2) * whole)

    def _with_one_more(self, kept: list[int]) -> list[int] | None:
        """The best shape beside those that are kept, all of them then placed anew."""
        first = self._best(kept)
        if first is None:
            return None
        found = [*kept, first]
        for _ in range(4):
            before = list(found)
            for place in range(len(found)):
                best = self._best([one for k, one in enumerate(found) if k != place])
                found[place] = found[place] if best is None else best
            if found == before:
                break
        return found

    def _best(self, others: list[int]) -> int | None:
        chi2 = self._chi2_with(others)
        best = int(np.argmin(chi2))
        return best if np.isfinite(chi2[best]) else None

    def _chi2_with(self, others: list[int]) -> Array:
        """Chi^2 with each shape beside some others; infinite where it cannot stand there."""
        design, seen = self._beside(others)
        size = np.einsum("ta,ta->a", design, design)
        apart = self._apart(size)
        gain = (design.T @ seen) ** 2 / np.where(apart, size, 1.0)
        chi2 = np.where(apart, seen @ seen - gain, np.inf)
        chi2[self.shapes.meeting[others].any(axis=0)] = np.inf
        return np.asarray(chi2)

    def _heights(self, kept: list[int]) -> tuple[Array, Array]:
        """Heights of some shapes together, and their covariance by the form's own."""
        design = self.design[:, kept]
        inverse = np.linalg.pinv(design.T @ design)
        return np.asarray(inverse @ (design.T @ self.seen), float), np.asarray(inverse, float)

    def _chi2(self, kept: list[int]) -> float:
        left = self.seen - self.design[:, kept] @ self._heights(kept)[0]
        return float(left @ left)

    def _scale(self, chi2: float, kept: list[int]) -> float:
        """What is left for each degree of freedom, at least one: three numbers tell a shape."""
        return max(1.0, chi2 / max(1, self.count - 3 * len(kept)))

    def _likely(self, kept: list[int], one: int) -> tuple[Array, Array, Array]:
        """Chi^2, height and its variance with each shape in the place of one of those kept.

        The nearest of the others is placed anew each time, for what one takes the other gives.

        Returns
        -------
        chi2, height, variance : ndarray, shape (A, K)
            K is one without others, else the number of shapes that the nearest may have.
        """
        others = [shape for k, shape in enumerate(kept) if k != one]
        if not others:
            size = np.einsum("ta,ta->a", self.design, self.design)
            height = self.design.T @ self.seen / size
            chi2 = self.seen @ self.seen - height**2 * size
            return chi2[:, None], height[:, None], 1 / size[:, None]
        places = self.shapes.places
        near = min(others, key=lambda shape: abs(places[shape] - places[kept[one]]))
        fixed = [shape for shape in others if shape != near]
        pairs = self._pairs(fixed)
        kinds = np.array(self.shapes.kinds)
        seen = self._beside(fixed)[1]
        able = np.broadcast_to(kinds == kinds[near], pairs.gain.shape)
        if self.shapes.kinds[near] == self.shapes.kinds[kept[one]]:
            # two zones do not change their names on the way
            inner = places[kept[one]] < places[near]
            able = able & ((places[:, None] < places) == inner)
        chi2 = np.where(able, seen @ seen - pairs.gain, np.inf)
        return chi2, pairs.height, pairs.variance

    def _described(self, kept: list[int], one: int, scale: float) -> dict[str, Any]:
        """Means over the likely shapes of one kind, and their scatter."""
        chi2, height, variance = self._likely(kept, one)
        kinds = np.array(self.shapes.kinds)
        weight = np.exp(-(chi2 - chi2.min()) / (2 * scale))
        kind = max(("zone", "edge", "centre"), key=lambda each: weight[kinds == each].sum())
        weight[kinds != kind] = 0.0
        weight /= weight.sum()
        by_shape = weight.sum(axis=1)

        def u95(values: Array, weight: Array, mean: float, extra: float) -> float:
            return half_width(math.sqrt(float(np.sum(weight * (values - mean) ** 2)) + extra))

        middle = float(np.sum(weight * height))
        within = scale * float(np.sum(weight * variance)) + (_SHAPE * middle) ** 2
        places = self.shapes.places
        place, width = float(by_shape @ places), float(by_shape @ self.shapes.widths)
        return {
            "kind": kind,
            "height_fringes": middle,
            "height_u95_fringes": u95(height, weight, middle, within),
            "place": place,
            # shapes stand on a grid: what lies between two of them is not told apart
            "place_u95": u95(places, by_shape, place, STEP**2 / 12 + (_SHAPE * width) ** 2),
            "width": width,
        }
