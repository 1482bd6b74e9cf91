"""Which frames of a clip to read: sharp, still, and spread over what the fringes did."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

_NEIGHBOURS = 7  # frames to each side that a frame's sharpness is held against
_SHARP = 0.85  # of the median of its neighbours, below which a frame is out of focus or shaken
_STILL_SHARE = 0.75  # of the frames, those that differ least from the next
_FAR_OFF = 4.0  # times the median distance from what most frames have in common: a hand in view
_IN_COMMON = 5  # mean light, two of the phase, two of leaning
_PIXELS = 4000  # of a frame that tell frames apart


def choose_frames(thumbnails: Array, count: int) -> list[int]:
    """Choose frames of one contact while its gap moves.

    Frames of equal light at each pixel but for a phase lie on a circle in the space of their
    first two principal components (Vargas, Quiroga & Belenguer, Opt. Lett. 36 (2011) 1326; from
    memory); leaning and pressing carry them along further ones. The frames that lie furthest from
    one another there are taken, the sharper and stiller first.

    Parameters
    ----------
    thumbnails : ndarray of float32, shape (K, M, N)
        Light of the frames, in their order in time.
    count : int
        How many are wanted.

    Returns
    -------
    list of int
        Indices, at most `count`, in their order in time.
    """
    frames = len(thumbnails)
    if frames <= count:
        return list(range(frames))
    even = _even(thumbnails)
    change = _change(even)
    usable = _sharp(thumbnails) & (change <= np.quantile(change, _STILL_SHARE))
    places, like_others = _places(even)
    usable &= like_others
    if usable.sum() < count:
        usable = like_others
    candidates = np.flatnonzero(usable)
    if len(candidates) <= count:
        return [int(one) for one in candidates]
    return sorted(_far_apart(places[candidates], candidates, count))


def _even(thumbnails: Array) -> Array:
    """Some pixels of every frame, exposures made alike, shape (K, P)."""
    flat = thumbnails.reshape(len(thumbnails), -1)
    flat = flat[:, :: max(1, flat.shape[1] // _PIXELS)]
    return np.asarray(flat / np.maximum(flat.mean(axis=1, keepdims=True), 1e-6), np.float32)


def _change(even: Array) -> NDArray[np.float64]:
    """How much each frame differs from the one before and the one after, shape (K,)."""
    apart = np.sqrt(((even[1:] - even[:-1]) ** 2).mean(axis=1)).astype(float)
    return np.asarray(np.maximum(np.append(apart[:1], apart), np.append(apart, apart[-1:])))


def _sharp(thumbnails: Array) -> NDArray[np.bool_]:
    """Whether a frame's slopes are as steep as those of the frames around it, shape (K,)."""
    steep = np.array([_steepness(one) for one in thumbnails])
    usual = [
        np.median(steep[max(0, k - _NEIGHBOURS) : k + _NEIGHBOURS + 1]) for k in range(len(steep))
    ]
    return np.asarray(steep >= _SHARP * np.array(usual))


def _steepness(light: Array) -> float:
    """Mean square of the slopes as a share of the mean light's square."""
    down, across = np.gradient(light)
    return float((down**2 + across**2).mean() / max(float(light.mean()), 1e-6) ** 2)


def _places(even: Array) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Places of the frames among their principal components, and which are like the others (K,).

    Where a hand is in view a frame lies far from all others, along a component or off them all.
    """
    about = (even - np.median(even, axis=0)).astype(float)
    vectors, squares, _ = np.linalg.svd(about @ about.T)
    places = vectors[:, :_IN_COMMON] * np.sqrt(squares[:_IN_COMMON])
    off = np.sqrt(np.maximum((about**2).sum(axis=1) - (places**2).sum(axis=1), 0))
    away = np.abs(places - np.median(places, axis=0))
    far = away > _FAR_OFF * np.maximum(np.median(away, axis=0), np.median(off))
    return places[:, :3], ~far.any(axis=1) & (off <= _FAR_OFF * np.median(off) + 1e-9)


def _far_apart(places: NDArray[np.float64], candidates: NDArray[np.int64], count: int) -> list[int]:
    """Take one after another the candidate furthest from all that were taken."""
    first = int(np.argmax(np.hypot(places[:, 0], places[:, 1])))
    taken = [first]
    nearest = np.linalg.norm(places - places[first], axis=1)
    while len(taken) < count:
        best = int(np.argmax(nearest))
        taken.append(best)
        nearest = np.minimum(nearest, np.linalg.norm(places - places[best], axis=1))
    return [int(candidates[one]) for one in taken]
