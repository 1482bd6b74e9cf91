"""Orders counted round closed circles: the way back to a place leads to its own order.

The gap between two surfaces is one number at each place, so the steps of the order round any
circle add up to nothing. The arms of a spiral add up to their number, however well rings with a
cut through them may fit the rest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.orders.agreement import Patches
from fringe.orders.fit.model import OrderModel
from fringe.photo.filters import median

_CIRCLES, _STEPS = 16, 96
_LEAST, _MOST = 0.15, 0.9  # radii of the circles, as shares of the largest that the disc holds
_FARTHEST = 0.7  # of a centre of rings, about which the circles lie; else about the disc's
# Shares of a circle's places whose order must be known, and clear: where a rough circle reaches
# beyond the work, or over a finger, phasors are small and wind at random; of spirals 0.8 to 1 are
# clear
_KNOWN, _SURE = 0.9, 0.8
_LEAST_CIRCLES, _MANY = 4, 0.5  # circles that are known, and share that wind alike
# half a side of squares round which fringes are followed, in patches, and the least size of their
# phasors, as a share of the usual one
_LOOP, _CLEAR = 3, 0.5
# Of 57 rendered works no circle winds; of spirals 13 to 16 of 16 do (`nofringes.py`).


def refuse_spirals(name: str, model: OrderModel, patches: Patches) -> None:
    """Refuse lines that wind about a centre.

    Parameters
    ----------
    name : str
        Of the photograph.
    model : OrderModel
        Fitted order.
    patches : Patches
        Of the picture and that order.

    Raises
    ------
    Refused
        When most circles do not come back to the order that they started from.
    """
    refuse_arms(name, winding(model, patches))


def refuse_arms(name: str, arms: int) -> None:
    """Refuse lines of which a circle about a centre meets so many more on the way round."""
    if arms:
        text = "one arm" if abs(arms) == 1 else f"{abs(arms)} arms"
        raise Refused(
            f"{name}: the lines are a spiral of {text}, and fringes of a contact close;"
            " photograph contact fringes"
        )


def winding(model: OrderModel, patches: Patches) -> int:
    """Orders by which the picture is ahead after a turn; 0 where most circles do not agree.

    The model comes back to its own order, so what is counted is by how much the picture runs
    ahead of it.
    """
    middle = _middle(model)
    radius = np.linspace(_LEAST, _MOST, _CIRCLES)[:, None] * (1 - np.hypot(*middle))
    angle = np.linspace(0, 2 * np.pi, _STEPS, endpoint=False)
    phasor, known = patches.at(
        middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)
    )
    clear = known & (np.abs(phasor) > _CLEAR * _usual(patches))
    steps = np.angle(np.roll(phasor, -1, axis=1) * np.conj(phasor)) / (2 * np.pi)
    return turns(steps[(known.mean(axis=1) > _KNOWN) & (clear.mean(axis=1) > _SURE)])


def turns(steps: NDArray[np.float64]) -> int:
    """Orders gained on the way round most circles; 0 where they do not agree or are few.

    Parameters
    ----------
    steps : ndarray, shape (C, S)
        Steps of the order round C circles, each within half a fringe [fringe].
    """
    if len(steps) < _LEAST_CIRCLES:
        return 0
    gained, counts = np.unique(np.rint(steps.sum(axis=1)).astype(int), return_counts=True)
    likeliest = int(counts.argmax())
    return int(gained[likeliest]) if counts[likeliest] >= _MANY * len(steps) else 0


def torn_places(patches: Patches) -> NDArray[np.intp]:
    """Patches about which the picture gains or loses an order, shape (K, 2): row and column.

    The patches of a square all round such a place show fringes, and lead back to another order:
    fringes end there. Two surfaces that are whole make no such place.
    """
    phasor = patches.phasor
    clear = patches.known & (np.abs(phasor) > _CLEAR * _usual(patches))
    side = 2 * _LOOP
    across, down = (
        np.angle(later * np.conj(sooner)) / (2 * np.pi)
        for later, sooner in ((phasor[:, 1:], phasor[:, :-1]), (phasor[1:], phasor[:-1]))
    )
    rows = _running(np.where(clear[:, 1:] & clear[:, :-1], across, np.nan), side, 1)
    columns = _running(np.where(clear[1:] & clear[:-1], down, np.nan), side, 0)
    round_ = rows[:-side] + columns[:, side:] - rows[side:] - columns[:, :-side]
    return np.argwhere(np.abs(np.nan_to_num(round_)) > 0.5) + _LOOP


def _usual(patches: Patches) -> float:
    """Usual size of the phasors that are known."""
    known = np.abs(patches.phasor[patches.known])
    return float(median(known)) if known.size else 1.0


def _running(steps: NDArray[np.float64], count: int, axis: int) -> NDArray[np.float64]:
    """Sums of so many steps one after another along an axis."""
    windows = np.lib.stride_tricks.sliding_window_view(steps, count, axis=axis)
    return np.asarray(windows.sum(axis=-1))


def _middle(model: OrderModel) -> NDArray[np.float64]:
    """About where rings close, from the terms to degree two; the disc's middle if far from it."""
    round_, along, across = (model.value(2, m) for m in (0, 2, -2))
    bend = 2 * np.array([[2 * round_ + along, across], [across, 2 * round_ - along]])
    if abs(np.linalg.det(bend)) < 1e-6:
        return np.zeros(2)
    middle = -np.linalg.solve(bend, [model.value(1, 1), model.value(1, -1)])
    return middle if np.hypot(*middle) < _FARTHEST else np.zeros(2)
