"""How far the camera drifted between the frames of a burst, told by what does not move.

Fringes move while the work is pressed; the rim, dirt and whatever else is in view do not. Pixels
are weighed by how little their light changes over the burst, and each frame's shift against the
mean of all is found by Gauss-Newton steps on the mean's slopes (Lucas & Kanade, IJCAI 1981, 674;
from memory), from coarse pixels to fine ones, the mean made anew each time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.orders.burst.frames import Burst, Maps
from fringe.orders.fit.field import Array
from fringe.orders.fit.robust import cauchy_squared, robust_fit
from fringe.photo.load import Photo

_FINE_SIDE_PX = 700  # longer side of the pixels on which shifts are found last
_LEVELS = 4  # of pixels twice as coarse each
_ROUNDS = 6  # at each level
_BLUR_PX = 1.2
_SMOOTH_PX = 3.0  # of what is left, in pixels of the field
_MOST_STEP_PX = 1.5  # at once, at each level
_LEAST_PX = 0.05  # of a shift that frames are resampled for, in pixels of the photograph
# Fringes beside the rim pull the first look by a quarter of a pixel; it takes out what is more, and
# the second look, with the fringes known, the rest.
_LEAST_ROUGH = 0.6  # pixels on which shifts are found
_TOLD_PX = 2.0  # of the photograph, from which a reading says so
_LIMIT_PX, _LIMIT_SHARE = 1.5, 0.004  # of what is left at last, and of the radius
_GAIN_STEP = 3  # pixels, of which one tells the exposures
_LEAST_WEIGHT = 0.01  # of a pixel that tells shifts; the others hardly count, and are most
_STILL_SHARE = 0.1  # of the pixels, those that change least, which tell what change is little


@dataclass(frozen=True)
class Drift:
    """Shifts of the frames against their mean place.

    Attributes
    ----------
    shifts_px : ndarray, shape (K, 2)
        Across and down, in pixels of the photograph.
    pixel_px : int
        Side of the pixels on which they were found.
    """

    shifts_px: NDArray[np.float64]
    pixel_px: int

    @property
    def most_px(self) -> float:
        """Greatest distance between two frames."""
        apart = self.shifts_px[:, None] - self.shifts_px[None]
        return float(np.hypot(apart[..., 0], apart[..., 1]).max())


def drift_of(frames: Sequence[Array]) -> Drift:
    """Find the shifts of frames of one size.

    Parameters
    ----------
    frames : sequence of ndarray of float32, shape (M, N)
        Linear light. They are reduced one by one, since all at full size would be copied.

    Returns
    -------
    Drift
    """
    sides = frames[0].shape
    finest = max(1, math.ceil(max(sides) / _FINE_SIDE_PX))
    shifts = np.zeros((len(frames), 2))
    for level in reversed(range(_LEVELS)):
        block = finest << level
        if min(sides) // block < 24:
            continue
        coarse = _blurred(np.stack([_block_means(one, block) for one in frames]))
        for _ in range(_ROUNDS):
            step = _step(_moved_back(coarse, shifts / block))
            shifts += block * np.clip(step, -_MOST_STEP_PX, _MOST_STEP_PX)
            shifts -= shifts.mean(axis=0)
            if float(np.abs(step).max()) < 0.02:
                break
    return Drift(shifts, finest)


def steadied(photos: Sequence[Photo], scale: int) -> list[Photo]:
    """Take out of frames what the camera drifted before fringes are looked for.

    Parameters
    ----------
    photos : sequence of Photo
    scale : int
        Pixels of the photographs, along a side, that became one of theirs.

    Returns
    -------
    list of Photo
        The same frames where hardly any drift is seen, else moved to the place of the first,
        which has a note of it.
    """
    drift = drift_of([photo.light for photo in photos])
    if drift.most_px < _LEAST_ROUGH * drift.pixel_px:
        return list(photos)
    still = moved_back(photos, drift.shifts_px)
    most_px = scale * drift.most_px
    if most_px > _TOLD_PX:
        note = f"the camera drifted by {most_px:.0f} px between frames; that was taken out"
        still[0] = replace(still[0], notes=(*still[0].notes, note))
    return still


def left_shifts(burst: Burst, maps: Maps) -> NDArray[np.float64]:
    """Shift of each frame once the steps are known, told by the rim and dirt.

    What the steps do not explain of a frame is held against the slopes of the mean light.

    Returns
    -------
    ndarray, shape (K, 2)
        Across and down, in pixels of the field.
    """
    from scipy.ndimage import gaussian_filter

    rho2 = burst.u**2 + burst.v**2
    room = float(min(rho2[0].max(), rho2[:, 0].max()))
    along_y, along_x = np.gradient(gaussian_filter(maps.mean, _SMOOTH_PX))
    good = burst.good.all(axis=0) & (rho2 < max(room, 1.1))
    design = np.stack([along_x[good], along_y[good]])
    normal = design @ design.T
    shifts = np.zeros((len(burst.light), 2))
    for k, left in enumerate(maps.left):
        image = np.zeros(burst.u.shape, np.float32)
        image.ravel()[maps.where] = left
        shifts[k] = -np.linalg.solve(normal, design @ gaussian_filter(image, _SMOOTH_PX)[good])
    return shifts


def check_still(burst: Burst, shifts: NDArray[np.float64], name: str) -> None:
    """Refuse frames that are still shifted against one another: the rim and dirt must not move."""
    limit = max(_LIMIT_PX, _LIMIT_SHARE * burst.first.radius_px)
    for k, shift in enumerate(shifts):
        if float(np.hypot(*shift)) > limit:
            raise Refused(
                f"{name}: frame {k + 1} is shifted against the others; the camera and the work"
                " must not move between frames"
            )


def moved_back(photos: Sequence[Photo], shifts_px: NDArray[np.float64]) -> list[Photo]:
    """Frames moved back by their shifts (K, 2) to the place of the first, by cubic splines."""
    against_first = shifts_px - shifts_px[0]
    return [_shifted(photo, one) for photo, one in zip(photos, against_first, strict=True)]


def _shifted(photo: Photo, shift_px: NDArray[np.float64]) -> Photo:
    """A frame moved back by a shift (across, down); what comes from outside counts as clipped."""
    from scipy.ndimage import maximum_filter, shift

    if float(np.hypot(*shift_px)) < _LEAST_PX:
        return photo
    back = (-shift_px[1], -shift_px[0])
    light = shift(photo.light, back, order=3, mode="nearest")
    clipped = maximum_filter(photo.clipped, 3).astype(np.uint8)
    whole = tuple(round(one) for one in back)
    clipped = shift(clipped, whole, order=0, cval=1).astype(bool)
    return replace(photo, light=light.astype(np.float32), clipped=clipped)


def _block_means(light: Array, block: int) -> Array:
    rows, columns = (side // block for side in light.shape)
    cut = light[: rows * block, : columns * block]
    means = cut.reshape(rows, block, columns, block).mean(axis=(1, 3))
    return np.asarray(means, np.float32)


def _blurred(frames: Array) -> Array:
    from scipy.ndimage import gaussian_filter

    return np.asarray(gaussian_filter(frames, (0, _BLUR_PX, _BLUR_PX)), np.float32)


def _moved_back(frames: Array, shifts_px: NDArray[np.float64]) -> Array:
    from scipy.ndimage import shift

    moved = [
        shift(frame, (-y, -x), order=1, mode="nearest") if math.hypot(x, y) > 0.01 else frame
        for frame, (x, y) in zip(frames, shifts_px, strict=True)
    ]
    return np.stack(moved)


def _step(frames: Array) -> NDArray[np.float64]:
    """Further shift of each frame against the mean, shape (K, 2)."""
    mean: Array = frames.mean(axis=0) + np.float32(1e-4)
    ratio = frames[:, ::_GAIN_STEP, ::_GAIN_STEP] / mean[::_GAIN_STEP, ::_GAIN_STEP]
    gains = np.median(ratio.reshape(len(frames), -1), axis=1)
    even = frames / np.maximum(gains, 1e-3)[:, None, None]
    mean = _middle(even)
    changes = np.asarray(even - mean, np.float32)
    inner = (slice(2, -2), slice(2, -2))
    still = _still(changes)[inner]
    which = still > _LEAST_WEIGHT
    weight = still[which].astype(float)
    slope_y, slope_x = (np.asarray(one, np.float32) for one in np.gradient(mean))
    design = np.stack([one[inner][which] for one in (slope_x, slope_y, mean)], axis=1).astype(float)
    steps = np.zeros((len(frames), 2))

    def tolerance(residual: NDArray[np.float64]) -> float:
        return 2.5 * math.sqrt(np.average(residual**2, weights=weight)) + 1e-9

    for k, change in enumerate(changes):
        left = change[inner][which].astype(float)

        # fringes that happened to stand still, and hands, are far off
        fit = robust_fit(
            design, left, cauchy_squared, tolerance, weight=weight, ridge=1e-9, rounds=3
        )
        steps[k] = -fit.values[:2]
    return steps


def _middle(frames: Array) -> Array:
    """Median over the frames, shape (M, N)."""
    ordered = np.sort(frames, axis=0)
    return np.asarray(0.5 * (ordered[(len(frames) - 1) // 2] + ordered[len(frames) // 2]))


def _still(changes: Array) -> Array:
    """Weight of each pixel (M, N): high where light changes little from frame to frame."""
    variance = (changes**2).mean(axis=0)
    usual = float(np.quantile(variance, _STILL_SHARE)) + 1e-12
    return np.asarray(1 / (1 + variance / usual) ** 2, np.float32)
