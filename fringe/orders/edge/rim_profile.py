"""The order of a turned rim to its very end, from rings that the lens has mixed.

Near the end of the face each ring of the picture holds light from the rings about it, and from
beyond. Where the order runs away they are out of step: the fringes fade, and the order that is seen
lags. So the rings are not continued: the order, place by place, is fitted such that its fringes,
ended where the face ends and blurred by the lens, are those that the rings show. What is known of
it beforehand is only that its bend may about double from pixel to pixel. Where fringes fade before
the order is known, several orders explain the rings; each is begun from, and their spread counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.orders.edge.rim_rings import RAYS, SHARED, RimRings
from fringe.photo.filters import median

Vector = NDArray[np.float64]
Complex = NDArray[np.complex128]
_WITHIN_PX, _BEYOND_PX, _BLUR_PX = 20.0, 1.0, 5.0  # of the order that is fitted, and about it
_RINGS_BEYOND_PX = 4.0  # rings beyond the end, which show that no fringes follow
_NODE_PX, _FINE_PX = 0.5, 0.25  # between places of the order, and of the light
# rate at which a bend changes, as a share of it [1 / px], and its least [fringe / px^2]; rings
# about a place whose bend counts as its own
_RATE, _LEAST_BEND, _BENT_PX = 0.7, 0.002, 3.0
# noise of a ring's fringes at least, as a share of them
_LEAST_NOISE = 0.006
_SURE = 0.7  # share that fringes explain of rings that are believed
_UNEVEN = 0.06  # by which the fringes' strength may vary otherwise, as a share
# nuisances: log strength, its slope over ten pixels, log width of the blur [px], end [px]
_MEANS, _WIDTHS = (0.0, 0.0, -0.1), (0.3, 0.3, 0.3)
_LEAST_U_PX = 0.08  # of the place where the face ends
_FADING, _STRONG = 0.6, 0.25  # strength of rings from which starts go on, as a share of the usual
# rates at which the bend of the last clear rings grows [1 / px], and a bound on that [px^2]
_GROWTHS, _MOST_GROWN = (0.3, 0.6, 0.9, 1.3), 60.0
# starts by laws: rings that show the form within, lengths over which a rim turns, exponentially or
# by the power of its distance from where it begins [px]; heights, over that of the last clear ring;
# how many of them are begun from
_WITHIN_RIM_PX = -9.0
_LENGTHS_PX, _POWERS = (0.7, 1.0, 1.5, 2.2, 3.3, 5.0), ((3.0, 4.5, 6.5, 9.0, 13.0), (2.0, 3.0))
_HEIGHTS, _BEGUN = (0.6, 0.8, 1.0, 1.25, 1.6), 5
_SLIPS = (0, 1, -1)  # orders by which starts differ across a place where fringes fade
_SLIP_PX = 1.0
_STEPS, _ROUNDS, _DAMPINGS = 8, 4, 6
_SAME = 0.02  # of two orders that are one [fringe]
# speed beyond which pixels show no fringes [fringe / px], and the part of what the order runs
# beyond it that may be otherwise
_SHOWN, _UNSHOWN_SHARE = 0.4, 0.8
# orders too fast for the pixels that are told [fringe]; least standard uncertainty of the end,
# seen and where such orders end [px], and by how much ends scatter more than by noise
_TOO_FINE, _LEAST_END_PX, _END_SCATTER = 0.15, (0.1, 0.3), 3.0


@dataclass(frozen=True)
class RimProfile:
    """Mean order round the work over its last pixels; M places.

    Attributes
    ----------
    radius : ndarray, shape (M,)
        Places, on the unit disc of the rings' edge.
    order : ndarray, shape (M,)
        Order there [fringe].
    errors : ndarray, shape (K, M)
        Independent errors of it, each of standard deviation one [fringe].
    end, u_end : float
        Where the face ends, on the same disc, and its standard uncertainty.
    misfit : float
        Mean square of what the rings leave, over that of their noise.
    unshown : float
        Orders that run by faster than pixels can show [fringe].
    neg_2_log_evidence : float
        Less a constant, of profiles of the same rings to the same radius.
    """

    radius: Vector
    order: Vector
    errors: Vector
    end: float
    u_end: float
    misfit: float
    unshown: float
    neg_2_log_evidence: float

    @property
    def too_fine(self) -> bool:
        """Whether pixels leave so much of the rim open that it must be told."""
        return self.unshown > _TOO_FINE

    def u_end_px(self, radius_px: float) -> float:
        """Standard uncertainty of the end, no less than rendered works have [px]."""
        return max(_LEAST_END_PX[self.too_fine], _END_SCATTER * self.u_end * radius_px)

    def errors_at(self, radius: Vector) -> Vector:
        """The errors at other radii, shape (K, R); none within, and the last one's beyond."""
        return np.array([np.interp(radius, self.radius, one, left=0.0) for one in self.errors])


@dataclass(frozen=True)
class _Problem:
    """Rings about the end of a face, and the places of the order that is fitted.

    Attributes
    ----------
    at : ndarray, shape (R,)
        Places of the rings, outward from about the end [px].
    seen : ndarray of complex, shape (R,)
        Their fringes: strength, as a share of the usual, and order.
    sigma : ndarray, shape (R,)
        Standard deviation of either part.
    order : ndarray, shape (R,)
        Mean order of the rings [fringe].
    nodes, fine : ndarray, shapes (M,) and (F,)
        Places of the order, and of the light before the lens [px].
    between : ndarray, shape (F, M)
        From the order at the nodes to that of the light.
    within : ndarray, shape (F,)
        Order of the light within the nodes, zero elsewhere.
    end_px, u_end_px : float
        About where the face ends, and its standard uncertainty.
    """

    at: Vector
    seen: Complex
    sigma: Vector
    order: Vector
    nodes: Vector
    fine: Vector
    between: Vector
    within: Vector
    end_px: float
    u_end_px: float

    @property
    def means(self) -> Vector:
        """Of the nuisances."""
        return np.array([*_MEANS, self.end_px])

    @property
    def widths(self) -> Vector:
        """Standard deviations of the nuisances."""
        return np.array([*_WIDTHS, self.u_end_px])

    def light(self, values: Vector) -> tuple[Vector, Complex]:
        """Blur from the places of the light to the rings, and the fringes before it."""
        order, (strength, slope, log_blur, end) = np.split(values, [len(self.nodes)])
        blur = np.exp(log_blur)
        off = (self.at[:, None] - self.fine) / blur
        kernel = np.exp(-(off**2) / 2) * (_FINE_PX / (blur * np.sqrt(2 * np.pi)))
        kernel *= np.clip((end - self.fine) / _FINE_PX + 0.5, 0.0, 1.0)
        phase = 2j * np.pi * (self.between @ order + self.within)
        return kernel, np.exp(strength + slope * self.fine / 10 + phase)

    def scaled(self, parts: Complex) -> Complex:
        """Parts of the rings' fringes in standard deviations: of strength, and of phase."""
        length = np.abs(self.seen)
        turned = parts * np.conj(self.seen / np.maximum(length, 1e-9))[:, None]
        strength = np.hypot(self.sigma, _UNEVEN * length)[:, None]
        return np.asarray(turned.real / strength + 1j * turned.imag / self.sigma[:, None])

    def residuals(self, values: Vector, bends: Vector) -> Vector:
        """Of rings, nuisances and bends, in standard deviations."""
        kernel, light = self.light(values)
        left = self.scaled((self.seen - kernel @ light)[:, None])[:, 0]
        count = len(self.nodes)
        nuisances = (values[count:] - self.means) / self.widths
        return np.concatenate(
            [left.real, left.imag, nuisances, np.diff(values[:count], 3) / _NODE_PX**3 / bends]
        )

    def jacobian(self, values: Vector, bends: Vector) -> Vector:
        """Derivatives of the residuals, less their sign, shape (..., M + 4)."""
        kernel, light = self.light(values)
        meant = kernel @ light
        count = len(self.nodes)
        columns = np.empty((len(self.at), count + 4), complex)
        columns[:, :count] = (kernel * light) @ self.between * 2j * np.pi
        columns[:, count] = meant
        columns[:, count + 1] = kernel @ (light * self.fine / 10)
        for place, step in ((count + 2, 0.02), (count + 3, 0.05)):
            moved = values.copy()
            moved[place] += step
            kernel, light = self.light(moved)
            columns[:, place] = (kernel @ light - meant) / step
        columns = self.scaled(columns)
        nuisances = np.zeros((4, count + 4))
        nuisances[:, count:] = np.diag(1 / self.widths)
        smooth = np.zeros((count - 3, count + 4))
        smooth[:, :count] = np.diff(np.eye(count), 3, axis=0) / _NODE_PX**3 / bends[:, None]
        return np.concatenate([columns.real, columns.imag, -nuisances, -smooth])


@dataclass(frozen=True)
class _Found:
    """One order that explains the rings; `neg_2_log_evidence` less a constant."""

    values: Vector
    covariance: Vector
    misfit: float
    neg_2_log_evidence: float


def rim_profile(
    rings: RimRings, end: float = 1.0, u_px: float = 0.0, within: float | None = None
) -> RimProfile | None:
    """Fit the order over the last pixels of the face.

    Parameters
    ----------
    rings : RimRings
    end : float
        About where the face ends, on the unit disc of the rings' edge.
    u_px : float
        Its standard uncertainty.
    within : float, optional
        Radius to which the order is fitted, where it is not the end: profiles to one radius compare
        by their evidence.

    Returns
    -------
    RimProfile or None
        None where rings do not reach so far, or show too little of the fringes before.
    """
    outermost = end if within is None else within
    problem = _problem(rings, outermost, u_px, (end - outermost) * rings.radius_px)
    if problem is None:
        return None
    found: list[_Found] = []
    for start in _starts(problem):
        found.append(_fitted(problem, np.concatenate([start, problem.means])))
        if len(found) == 1 and not _fades(problem):
            break
    best = min(found, key=lambda one: one.neg_2_log_evidence)
    count = len(problem.nodes)
    order = best.values[:count]
    spread = max(1.0, best.misfit)
    values, vectors = np.linalg.eigh(best.covariance[:count, :count] * spread)
    errors = [(vectors * np.sqrt(np.maximum(values, 0.0))).T]
    for other in found:
        off = other.values[:count] - order
        if np.abs(off).max() > _SAME:
            less = (other.neg_2_log_evidence - best.neg_2_log_evidence) / spread
            errors.append(np.exp(-less / 4) * off[None])
    speed = np.abs(np.gradient(order, _NODE_PX))
    unshown = (
        np.cumsum(np.maximum(speed - _SHOWN, 0.0) * (problem.nodes <= best.values[-1])) * _NODE_PX
    )
    errors.append(_UNSHOWN_SHARE * unshown[None])
    scale = 1 / rings.radius_px
    return RimProfile(
        outermost + problem.nodes * scale,
        order,
        np.concatenate(errors),
        outermost + float(best.values[-1]) * scale,
        float(np.sqrt(best.covariance[-1, -1] * spread)) * scale,
        best.misfit,
        float(unshown[-1]),
        best.neg_2_log_evidence,
    )


def _problem(rings: RimRings, end: float, u_px: float, end_px: float) -> _Problem | None:
    at = (rings.radius - end) * rings.radius_px
    used = (at > -_WITHIN_PX) & (at < _RINGS_BEYOND_PX)
    well_within = at < -_BLUR_PX
    if at[0] > -_WITHIN_PX - _BLUR_PX or at[-1] < _BEYOND_PX:
        return None
    before = used & (at < end_px - _BLUR_PX)
    if not before.any() or median(rings.explained[before]) < _SURE:
        return None
    usual = float(median(rings.strength[well_within]))
    share = np.maximum(1 - rings.explained, 1e-4) / np.maximum(rings.explained, 1e-4)
    # of either part of the fringes, from what each of the rays leaves
    variance = SHARED * share * rings.strength**2 / 2 / RAYS
    sigma = np.sqrt(variance / usual**2 + _LEAST_NOISE**2)
    seen = rings.strength / usual * np.exp(2j * np.pi * rings.order)
    nodes = np.arange(-_WITHIN_PX, _BEYOND_PX + _NODE_PX / 2, _NODE_PX)
    fine = np.arange(-_WITHIN_PX - _BLUR_PX, _BEYOND_PX, _FINE_PX) + _FINE_PX / 2
    between = np.array([np.interp(fine, nodes, one, left=0.0) for one in np.eye(len(nodes))]).T
    within = np.where(fine < nodes[0], np.interp(fine, at, rings.order), 0.0)
    between[fine < nodes[0]] = 0.0
    u_end = max(u_px, _LEAST_U_PX)
    return _Problem(
        at[used],
        seen[used],
        sigma[used],
        rings.order[used],
        nodes,
        fine,
        between,
        within,
        end_px,
        u_end,
    )


def _fades(problem: _Problem) -> bool:
    """Whether fringes fade before the blur of the end would make them."""
    within = problem.at < problem.end_px - 1.5 - problem.u_end_px
    return bool(np.abs(problem.seen[within]).min() < 0.75)


def _starts(problem: _Problem) -> Iterator[Vector]:
    """Orders to begin from: the last clear rings continued, and rings that are seen again."""
    at, order, strength = problem.at, problem.order, np.abs(problem.seen)
    fading = np.flatnonzero((strength < _FADING) | (at > problem.end_px - 0.5))
    last = max(int(fading[0]) - 1 if len(fading) else len(at) - 1, 8)
    near = slice(last - 7, last + 1)
    bend, slope, _ = np.polyfit(at[near] - at[last], order[near], 2)
    beyond = np.maximum(problem.nodes - at[last], 0.0)
    seen = np.interp(problem.nodes, at[: last + 1], order[: last + 1])
    yield seen + bend * beyond**2 + slope * beyond
    grown = [(np.expm1(rate * beyond) - rate * beyond) / rate**2 for rate in _GROWTHS]
    going_on = [seen + slope * beyond + 2 * bend * np.minimum(one, _MOST_GROWN) for one in grown]
    yield from _likeliest(problem, [[one] for one in going_on] + _by_laws(problem, last))
    strong = np.flatnonzero((strength > _STRONG) & (at < problem.end_px - 0.5))
    again = int(strong[-1]) if len(strong) else 0
    if again < last + 6:
        return
    dip = last + int(np.argmin(strength[last:again]))
    slope = np.polyfit(at[again - 6 : again + 1], order[again - 6 : again + 1], 1)[0]
    beyond = np.maximum(problem.nodes - at[again], 0.0)
    for slip in _SLIPS:
        other = order + slip * (1 + np.tanh((at - at[dip]) / _SLIP_PX)) / 2
        yield np.interp(problem.nodes, at[: again + 1], other[: again + 1]) + slope * beyond


def _by_laws(problem: _Problem, last: int) -> list[list[Vector]]:
    """Rims by some laws, each of some heights about that of the last clear ring."""
    at, nodes = problem.at, problem.nodes
    within = at < _WITHIN_RIM_PX
    if within.sum() < 4 or last < within.sum():
        return []
    form = np.polyfit(at[within], problem.order[within], 2)
    lengths, powers = _POWERS
    px = np.concatenate([nodes, at[last : last + 1]]) - problem.end_px
    laws = [np.exp(px / length) for length in _LENGTHS_PX]
    laws += [np.maximum(1 + px / w, 0.0) ** power for w in lengths for power in powers]
    turned = problem.order[last] - np.polyval(form, at[last])
    return [
        [np.polyval(form, nodes) + h * turned * law[:-1] / law[-1] for h in _HEIGHTS]
        for law in laws
        if law[-1] > 0
    ]


def _likeliest(problem: _Problem, families: list[list[Vector]]) -> list[Vector]:
    """The best order of each of the families that explain the rings best."""

    def left(order: Vector) -> float:
        kernel, light = problem.light(np.concatenate([order, problem.means]))
        scaled = problem.scaled((problem.seen - kernel @ light)[:, None])
        return float((np.abs(scaled) ** 2).sum())

    best = [
        min((left(order), k, n) for n, order in enumerate(one)) for k, one in enumerate(families)
    ]
    return [families[k][n] for _, k, n in sorted(best)[:_BEGUN]]


def _fitted(problem: _Problem, values: Vector) -> _Found:
    """Damped least squares (Levenberg, Marquardt), the bends allowed as those that are found."""
    damping = 1e-2
    for _ in range(_ROUNDS):
        bends = _bends_allowed(values[: len(problem.nodes)])
        left = problem.residuals(values, bends)
        cost = left @ left
        for _ in range(_STEPS):
            rows = problem.jacobian(values, bends)
            normal, side = rows.T @ rows, rows.T @ left
            was = float(cost)
            for _ in range(_DAMPINGS):
                step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), side)
                trial = problem.residuals(values + step, bends)
                if trial @ trial < cost:
                    values, left, cost = values + step, trial, trial @ trial
                    damping = max(damping / 5, 1e-6)
                    break
                damping *= 5
            if was - cost < 1e-3 * max(was, 1.0):
                break
    rows = problem.jacobian(values, bends)
    normal = rows.T @ rows
    of_rings = left[: 2 * len(problem.at)]
    evidence = cost + 2 * np.log(bends).sum() + np.linalg.slogdet(normal)[1]
    misfit = float(of_rings @ of_rings) / len(of_rings)
    return _Found(values, np.asarray(np.linalg.inv(normal)), misfit, float(evidence))


def _bends_allowed(order: Vector) -> Vector:
    """Standard deviations of the order's third derivative [fringe / px^3]."""
    bend = np.abs(np.diff(order, 2)) / _NODE_PX**2
    reach = round(_BENT_PX / _NODE_PX)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(bend, reach, mode="edge"), 2 * reach)
    most = windows.max(axis=1)[: len(order) - 3]
    return np.asarray(_RATE * (most + _LEAST_BEND))
