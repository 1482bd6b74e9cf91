"""Sense of contact from two photographs between which one thing was changed on purpose.

Fringes have no absolute order: m = s o + k, with the fitted order o, s = +1 for contact at
the centre and -1 at the edge (o grows from the middle of the rings outward), and k whole, since
a fringe is dark at whole orders. The change gives s by its effect on m:

pressed at the centre
    The gap closes there, so m falls. With contact at the centre all of the film thins: o falls,
    the rings run outward. With contact at the edge o rises, the rings run inward, most of all in
    the middle, which bends: there are fewer of them. Whole fringes cannot be seen between two
    photographs: the press is to move the rings by less than half of their distance.
eye lowered
    2 h cos(theta) = m lambda: every m falls by one share, so the rings stand still where the
    pieces touch and run where the gap is wide.
second lamp
    m lambda stays, so orders are in step where the pieces touch and ever less where the gap
    is wide.

For the last two the orders of both photographs are held together at the contact that either
sense would have: o2 = r o1 there, but for whole orders, with r the ratio of the cosines or of
the wavelengths. A film of air or dust between the pieces counts as some more fringes of gap.
(2 h cos(theta) = m lambda and the direction of travel are textbook optics and common practice;
the test of the two is worked out here.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.form import disc_grid
from fringe.optics.lamps import Lamp
from fringe.optics.zernike import zernike_matrix
from fringe.orders.reading import FormFit, Reading

Vector = NDArray[np.float64]

INTERVENTIONS = ("pressed-centre", "lower-eye", "lamp")
SOURCES = {"pressed-centre": "press", "lower-eye": "eye", "lamp": "two-lamp"}

DECISIVE = 6.5  # natural logarithm of the ratio of evidences: 660 to one
_OUTLIER = 1e-4  # prior probability that the two photographs do not show one contact
_FLOOR = 0.015  # difference of two fits of one contact even without noise [fringe]
_MOST_FILM = (
    12  # a film of so many fringes at most, each as probable by this factor as the one before
)
_FILM_SHARE = 0.4
_BELOW = 0.15  # of a fringe that a contact may be fitted under zero
_LEAST_POWER = 0.3  # fringes, for the rings to have a sense that shows
_SAME = 0.1  # rms difference of form that is no other contact yet [fringe]
# pressed: least and most move that has a direction, and least loss of power that is a bend
_LEAST_MOVE, _MOST_MOVE, _LEAST_BEND = 0.07, 0.4, 0.08


@dataclass(frozen=True)
class Intervention:
    """What was changed between the photographs.

    Attributes
    ----------
    kind : str
        One of `INTERVENTIONS`.
    before, after : Lamp
        The same lamp twice, but for `lamp`.
    """

    kind: str
    before: Lamp
    after: Lamp


@dataclass(frozen=True)
class PairSense:
    """Sense from a pair of photographs.

    Attributes
    ----------
    sense : str
        `centre`, `edge` or `unknown`.
    shift_fringes : float or None
        Where it was pressed: how far orders moved [fringe], negative outward; else how far
        the orders of the more probable sense are out of step at its contact.
    log_ratio : float or None
        Natural logarithm of the evidence for contact at the centre over that for the edge;
        None where it was pressed.
    reason : str
        One clause: what was observed, or why it decides nothing.
    """

    sense: str
    shift_fringes: float | None
    log_ratio: float | None
    reason: str


def sense_of_pair(before: Reading, after: Reading, change: Intervention) -> PairSense:
    """Tell the sense from two readings of one contact.

    Parameters
    ----------
    before, after : Reading
        With a form, not corrected for a camera's distance.
    change : Intervention

    Returns
    -------
    PairSense

    Raises
    ------
    BadInput
        If the readings have no form, or the second is not seen from lower down.
    """
    pair = _Pair.of(before, after)
    if min(abs(before.power_fringes or 0.0), abs(after.power_fringes or 0.0)) < _LEAST_POWER:
        return _unknown("there is too little power for the rings to run anywhere")
    if change.kind == "pressed-centre":
        return _pressed(pair)
    assert before.edge is not None
    assert after.edge is not None
    if change.kind == "lamp":
        ratio = change.before.wavelength_nm / change.after.wavelength_nm
        if abs(ratio - 1) < 0.005:
            raise BadInput("the two lamps have nearly one wavelength; take another second lamp")
        u_ratio = ratio * math.hypot(
            *(item.u_wavelength_nm / item.wavelength_nm for item in (change.before, change.after))
        )
        return _scaled(pair, ratio, u_ratio, "take another second lamp")
    ratio = after.edge.cos_view / before.edge.cos_view
    u_ratio = math.hypot(*(item.u_px / item.a for item in (before.edge, after.edge)), 0.002)
    if ratio > 1 - max(0.005, 2 * u_ratio):
        raise BadInput(
            "the second photograph is not seen from lower down: its edge must look more oval"
            " than the first one's"
        )
    return _scaled(pair, ratio, u_ratio, "lower the camera further")


def _unknown(reason: str, shift: float | None = None, log_ratio: float | None = None) -> PairSense:
    return PairSense("unknown", shift, log_ratio, reason)


@dataclass(frozen=True)
class _SeenOrders:
    """Orders as seen over points of the disc, and what their uncertainty follows from."""

    form: FormFit
    order: Vector
    rows: NDArray[np.float64]
    cos: float
    u_edge: float

    @classmethod
    def of(cls, reading: Reading, u: Vector, v: Vector) -> _SeenOrders:
        form, edge = reading.form, reading.edge
        if form is None or edge is None:
            raise BadInput("a pair needs the work's edge in both photographs")
        rows = zernike_matrix(form.terms, u, v)
        # rings count outward whatever the sense, which the contrast may have given
        turn = -1.0 if reading.sense == "edge" else 1.0
        order = turn * edge.cos_view * (rows @ form.values)
        u_edge = 2 * abs(reading.power_fringes or 0.0) * edge.u_px / edge.a
        return cls(form, order, rows, edge.cos_view, u_edge)

    def u_mean(self, weight: Vector) -> float:
        """Standard uncertainty of a weighted mean of the order [fringe]."""
        mean = weight @ self.rows
        return self.cos * math.sqrt(max(float(mean @ self.form.covariance @ mean), 0.0))


@dataclass(frozen=True)
class _Pair:
    """Orders of both photographs at the same points, of one sign."""

    first: _SeenOrders
    second: _SeenOrders
    o1: Vector
    o2: Vector
    u: Vector
    v: Vector
    weight: Vector
    u_edges: tuple[float, ...]

    @classmethod
    def of(cls, before: Reading, after: Reading) -> _Pair:
        u, v, weight = (x.ravel() for x in disc_grid(24, 72))
        first, second = _SeenOrders.of(before, u, v), _SeenOrders.of(after, u, v)
        o1, o2 = first.order, second.order
        correlation = weight @ ((o1 - weight @ o1) * (o2 - weight @ o2))
        # what one edge is off by scales the orders of both, and tells on neither
        u_edges = () if before.edge == after.edge else (first.u_edge, second.u_edge)
        return cls(first, second, o1, o2 if correlation >= 0 else -o2, u, v, weight, u_edges)

    def u_step(self, weight: Vector, ratio: float = 1.0) -> float:
        """Standard uncertainty of a mean of o2 - r o1 [fringe]."""
        return math.hypot(ratio * self.first.u_mean(weight), self.second.u_mean(weight), _FLOOR)


def _wrapped(x: float) -> float:
    """Nearest to zero of what differs from x by whole orders."""
    return x - round(x)


def _pressed(pair: _Pair) -> PairSense:
    step = pair.o2 - pair.o1
    design = np.stack([np.ones_like(pair.u), pair.u, pair.v, pair.u**2 + pair.v**2], axis=1)
    root = np.sqrt(pair.weight)
    coefficients = np.linalg.lstsq(design * root[:, None], step * root, rcond=None)[0]
    rest = math.sqrt(float(pair.weight @ (step - design @ coefficients) ** 2))
    if rest > _SAME:
        return _unknown("the form of the fringes changed as well; press gently, and let go of it")
    middle, gained = float(coefficients[0]), float(coefficients[3])
    place = pair.first.form.terms.index((2, 0))
    u_power = 2 * math.sqrt(
        pair.first.form.covariance[place, place] + pair.second.form.covariance[place, place]
    )
    rim = _wrapped(middle + gained)
    if gained < -max(_LEAST_BEND, 4 * u_power):
        if -0.1 <= rim <= _MOST_MOVE:
            return PairSense("edge", rim - gained, None, "pressed, the middle lost fringes")
        return _unknown("the rings moved too far to tell which way; press more gently", rim)
    if gained > max(_LEAST_BEND, 4 * u_power):
        return _unknown("fringes were gained, which a press at the middle cannot do", rim)
    shift, u = _wrapped(middle + gained / 2), pair.u_step(pair.weight)
    if abs(shift) < max(_LEAST_MOVE, 3 * u):
        return _unknown("the rings hardly moved; press a little more", shift)
    if abs(shift) > _MOST_MOVE:
        return _unknown("the rings moved too far to tell which way; press more gently", shift)
    way = "outward" if shift < 0 else "inward"
    return PairSense(
        "centre" if shift < 0 else "edge",
        shift,
        None,
        f"pressed, the rings ran {way} by {abs(shift):.2f} of their distance",
    )


def _scaled(pair: _Pair, ratio: float, u_ratio: float, else_do: str) -> PairSense:
    """Orders that were all scaled by one ratio: where are both photographs in step?"""
    centred = pair.o1 - pair.weight @ pair.o1
    slope = float(pair.weight @ (centred * pair.o2)) / float(pair.weight @ centred**2)
    rest = pair.o2 - slope * pair.o1
    rest = rest - pair.weight @ rest
    spread = math.sqrt(float(pair.weight @ rest**2))
    u_slope = (spread + _FLOOR) / math.sqrt(float(pair.weight @ centred**2))
    if spread > _SAME or abs(slope - ratio) > 3 * math.hypot(u_ratio, u_slope) + 0.003:
        return _unknown("the two photographs do not show one contact; touch nothing in between")
    out, logs = {}, {}
    for sign in (1, -1):
        out[sign], logs[sign] = _in_step(pair, sign, ratio, u_ratio)
    log_ratio = logs[1] - logs[-1]
    likely = 1 if log_ratio > 0 else -1
    if abs(log_ratio) < DECISIVE:
        why = f"either contact could look so; {else_do}"
        return _unknown(why, out[likely], log_ratio)
    where = "the centre" if likely > 0 else "the edge"
    return PairSense(
        "centre" if likely > 0 else "edge",
        out[likely],
        log_ratio,
        f"the fringes of both are in step at {where}",
    )


def _in_step(pair: _Pair, sign: int, ratio: float, u_ratio: float) -> tuple[float, float]:
    """How far orders are out of step at the contact of one sense, and the log evidence for it."""
    m1 = sign * pair.o1
    # pieces touch, or have a film: the least order is not under zero but for the fit's error
    m1 = m1 - math.floor(float(m1.min()) + _BELOW)
    near = m1 < m1.min() + max(0.5, 0.15 * float(np.ptp(m1)))
    weight = np.where(near, pair.weight, 0.0)
    weight = weight / weight.sum()
    out = float(weight @ (sign * pair.o2 - ratio * m1))
    u_fit = math.hypot(pair.u_step(weight, ratio), *pair.u_edges)
    total = 0.0
    for film in range(_MOST_FILM):
        u = math.hypot(u_fit, u_ratio * (float(weight @ m1) + film))
        left = _wrapped(out - ratio * film)
        density = math.exp(-0.5 * (left / u) ** 2) / (u * math.sqrt(2 * math.pi))
        share = (1 - _FILM_SHARE) * _FILM_SHARE**film
        total += share * ((1 - _OUTLIER) * density + _OUTLIER)
    return _wrapped(out), math.log(total)
