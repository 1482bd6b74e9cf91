"""Orders are continuous: counted along rays and circles without the model, and held against it.

Along a line over the face light swings from dark to bright and back once a fringe. A swing of the
picture counts where it goes nearly all the way; of the model, where it goes a little, and the
other way round when fringes of the model are sought in the picture. So a line that only touches a
fringe, and a phase that is a little off, make no difference. What neighbouring lines tell alike,
at the same place, is an order too many or too few; dust and hairs lie across few lines, and are
narrow.

Two things swings cannot tell. A model that turns back where a fringe is darkest or brightest gives
the same light as one that goes on, but the one that goes on is smooth. And fringes that end in the
middle of the face wind about that place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import zernike_sum_on_rays
from fringe.orders.agreement import Patches
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.profile import cosine_of
from fringe.orders.fit.refine import Fit, least_contrast
from fringe.orders.fit.robust import robust_sigma
from fringe.orders.winding import torn_places
from fringe.photo.ellipse import Edge
from fringe.photo.filters import bilinear, median, median_of_five, running_mean
from fringe.photo.load import Photo

Vector = NDArray[np.float64]
Floating = NDArray[np.floating]
_RAYS, _CIRCLES = 64, 20
_FEWEST, _MOST = 128, 512  # samples of a ray, where fringes are not too fine for them
_SAMPLES_A_FRINGE = 6
_MOST_MEANS = 4  # places whose light makes one sample
_RIM_PX, _RIM = 2.5, 0.008  # of the rim that is left out; edges are placed as well as this
_INNERMOST, _OUTERMOST = 0.12, 0.97  # circles
_FULL, _SLIGHT = 0.55, 0.15  # amplitudes of a swing that surely is one, and of one that may be
_FINEST = 0.25  # cycles a sample and a pixel: finer fringes are not counted
_NOISE = 0.12  # of the light to which samples are smoothed
_MOST_NOISE, _MOST_SMOOTHED = 0.15, 15  # left about a place that counts; samples smoothed over
# what goes so far beyond the fringes' amplitude is a hair or dust, not a fringe, and samples beside
_NO_FRINGE, _BESIDE = 1.5, 2
_WIDE, _MOST_SWING, _MOST_SQUARE = 31, 2.0, 1.2  # samples about a place; light that is no fringe's
# Lines side by side, and how far the place may move from one to the next, as a share of the line.
# Of 60 works, 20 dirty ones among them, that were read right at most 5 lines, 7 of a hair along
# the fringes; of turned edges and bumps that were misread by an order 8 to 63
_MANY, _LONG, _NEAR, _VERY_NEAR = 7, 8, 0.08, 0.04
_OUTER = 0.5  # share of the radius, beyond which so many lines side by side are longer than hairs
_INNER = 0.93  # within which hairs are sought
# Folds are at whole or half orders, and the order that goes on instead is a polynomial of so many
# coefficients along a ray: what that leaves [fringe], and as a share of what it leaves of the fold
_AT_EXTREME, _SMOOTH, _LEAST_BEND, _STRAIGHTER = 0.1, 5, 0.1, 0.35
_FEWEST_TORN = 2


@dataclass(frozen=True)
class Continuity:
    """Where the orders of a fit are not those that the picture shows one after another.

    Attributes
    ----------
    extra, missing : float or None
        Distance from the middle, as a share of the radius, at which the picture shows more
        fringes than the fit, or fewer.
    folded : float or None
        The same of a ring at which the fit turns back as folded orders do.
    torn : bool
        Whether fringes end in the middle of the face.
    """

    extra: float | None = None
    missing: float | None = None
    folded: float | None = None
    torn: bool = False

    @property
    def is_broken(self) -> bool:
        """Whether any order is in doubt."""
        return self.torn or any(
            place is not None for place in (self.extra, self.missing, self.folded)
        )

    def warnings(self) -> list[str]:
        """What to say of it, one line for each."""
        lines = []
        for place, what in ((self.extra, "more"), (self.missing, "fewer")):
            if place is not None:
                lines.append(
                    f"near {place:.2f} of the radius the picture shows {what} fringes than the fit"
                    " follows, so that power and irregularity may be off by one: look at --picture"
                )
        if self.folded is not None:
            lines.append(
                f"near {self.folded:.2f} of the radius the fit turns back at a fringe, where it may"
                " as well go on: press or tilt the work and read again"
            )
        if self.torn:
            lines.append(
                "fringes end in the middle of the face, as at a crack or a step: look at --picture"
            )
        return lines


def continuity(photo: Photo, edge: Edge, fit: Fit, patches: Patches) -> Continuity:
    """Count orders in the picture and hold a fit against the count.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    fit : Fit
        On the edge's unit disc.
    patches : Patches
        Of the picture and that fit.
    """
    rim = 1 - max(max(_RIM_PX, 2 * edge.u_px) / edge.b, _RIM)
    steepest = fit.model.steepest()
    extra, missing = _along(_rays(photo, edge, fit, rim, steepest), rim)
    if extra is None and missing is None:
        extra, missing = _across(_circles(photo, edge, fit, steepest))
    return Continuity(extra, missing, folded(fit.model), len(torn_places(patches)) >= _FEWEST_TORN)


@dataclass(frozen=True)
class Lines:
    """Light along lines over the face, and of the model there; one line a row.

    Attributes
    ----------
    seen, meant : ndarray, shape (L, S)
        Between -1 where fringes are brightest and 1 where they are darkest.
    counted : ndarray of bool, shape (L, S)
        Where fringes can be told.
    """

    seen: Vector
    meant: Vector
    counted: NDArray[np.bool_]

    def smoothed(self, hairs: bool) -> Lines:
        """Without noise and, if so wished, without `hairs`; both alike, so that they compare."""
        bend = _bend(self.seen - self.meant)
        width = int(np.clip(math.ceil((robust_sigma(bend) / _NOISE) ** 2), 1, _MOST_SMOOTHED))
        found = []
        for one in (self.seen, self.meant):
            if not hairs:
                one = median_of_five(one)  # lines narrower than half of that are taken out
            found.append(running_mean(one, width) if width > 1 else one)
        seen, meant = found
        bend = np.pad(np.minimum(bend, _MOST_SWING), ((0, 0), (1, 1)), mode="edge")
        # the mean size of normal errors is sqrt(2 / pi) of their deviation
        noise = math.sqrt(math.pi / 2 / width) * running_mean(bend, _WIDE)
        square = running_mean(np.minimum(seen**2, _MOST_SWING**2), _WIDE)
        return Lines(seen, meant, self.counted & (noise < _MOST_NOISE) & (square < _MOST_SQUARE))

    def gained(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Sample of each line at which the picture, or the model, has gained an order, or -1."""
        seen, meant = (np.where(self.counted, one, 0) for one in (self.seen, self.meant))
        return _gained(seen, meant), _gained(meant, seen)


def _gained(light: Vector, other: Vector) -> NDArray[np.intp]:
    """Sample at which one has made a whole swing more than the other, -1 where it has not."""
    ahead = _swings(light, _FULL) - _swings(other, _SLIGHT)
    # a full swing ends later than a slight one: one behind, and one ahead, are two
    hit = ahead - np.minimum.accumulate(ahead, axis=1) >= 2
    return np.where(hit.any(axis=1), hit.argmax(axis=1), -1)


def _swings(light: Vector, size: float) -> NDArray[np.int32]:
    """Swings between beyond `size` and below less of it so far, shape of `light`."""
    state = (light > size).astype(np.int8) - (light < -size).astype(np.int8)
    last = np.where(state != 0, np.arange(light.shape[1], dtype=np.int32), 0)
    np.maximum.accumulate(last, axis=1, out=last)
    held = np.take_along_axis(state, last, axis=1)
    count = np.zeros(light.shape, np.int32)
    np.cumsum(held[:, 1:] * held[:, :-1] < 0, axis=1, out=count[:, 1:])
    return count


def _along(rays: Lines, rim: float) -> list[float | None]:
    """Where many neighbouring rays gain an order in the picture, and where in the model."""
    samples = rays.seen.shape[1]
    stop = int(_INNER * samples)
    inner = Lines(rays.seen[:, :stop], rays.meant[:, :stop], rays.counted[:, :stop])
    places = []
    for far, near in zip(
        rays.smoothed(hairs=True).gained(), inner.smoothed(hairs=False).gained(), strict=True
    ):
        far = np.where(far > _OUTER * samples, far, -1)
        place = _side_by_side(far, _LONG, _VERY_NEAR * samples, closed=True)
        if place is None:
            place = _side_by_side(near, _MANY, _NEAR * samples, closed=True)
        places.append(None if place is None else rim * place / (samples - 1))
    return places


def _across(circles: Lines) -> list[float | None]:
    """Where many neighbouring circles gain an order in the picture, and where in the model."""
    radii = np.linspace(_INNERMOST, _OUTERMOST, _CIRCLES)
    places: list[float | None] = []
    for gained in circles.smoothed(hairs=False).gained():
        place = _side_by_side(gained, _MANY, _NEAR * circles.seen.shape[1], closed=False)
        places.append(None if place is None else float(radii[gained >= 0].mean()))
    return places


def _side_by_side(
    gained: NDArray[np.intp], many: int, near: float, *, closed: bool
) -> float | None:
    """Median sample of `many` lines side by side that gain alike; None where there are fewer."""
    twice = np.concatenate([gained, gained]) if closed else gained
    run: list[int] = []
    for here in twice:
        if here < 0:
            run = []
        else:
            run = [*run, int(here)] if run and abs(int(here) - run[-1]) <= near else [int(here)]
        if len(run) >= many:
            return float(median(np.array(run)))
    return None


def _rays(photo: Photo, edge: Edge, fit: Fit, rim: float, steepest: float) -> Lines:
    """Rays from the middle to the rim."""
    samples = int(np.clip(edge.b, _FEWEST, max(_MOST, _SAMPLES_A_FRINGE * steepest)))
    step = rim / (samples - 1)
    rho, angle = step * np.arange(samples), (np.arange(_RAYS) + 0.5) / _RAYS * 2 * math.pi
    light = [_light(photo, edge, rho + one, angle) for one in step * _shifts(step * edge.a)]
    return _lines(photo, edge, fit, rho, angle, np.mean(light, axis=0))


def _circles(photo: Photo, edge: Edge, fit: Fit, steepest: float) -> Lines:
    """Circles about the middle, once round."""
    most = max(_MOST, 2 * math.pi * _SAMPLES_A_FRINGE * steepest)
    samples = int(np.clip(math.pi * edge.b, 2 * _FEWEST, most))
    rho, step = np.linspace(_INNERMOST, _OUTERMOST, _CIRCLES), 2 * math.pi / samples
    angle = step * np.arange(samples)
    light = [_light(photo, edge, rho, angle + one) for one in step * _shifts(step * edge.a)]
    lines = _lines(photo, edge, fit, rho, angle, np.mean(light, axis=0), along=0)
    return Lines(lines.seen.T, lines.meant.T, lines.counted.T)


def _shifts(step_px: float) -> Vector:
    """Shifts of the places whose light makes one sample, in samples."""
    count = int(np.clip(math.ceil(step_px), 1, _MOST_MEANS))
    return (np.arange(count) + 0.5) / count - 0.5


def _light(photo: Photo, edge: Edge, rho: Floating, angle: Floating) -> Vector:
    """Light at places, shape (angles, radii)."""
    x, y = _pixels(edge, rho, angle)
    return np.asarray(bilinear(photo.light, y, x), float)


def _pixels(edge: Edge, rho: Floating, angle: Floating) -> Vector:
    """Columns and rows of places, shape (2, angles, radii)."""
    turn = angle[:, None]
    return np.stack(edge.pixels(rho * np.cos(turn), rho * np.sin(turn)))


def _lines(
    photo: Photo,
    edge: Edge,
    fit: Fit,
    rho: Floating,
    angle: Floating,
    light: Floating,
    along: int = 1,
) -> Lines:
    """Light over places of shape (angles, radii) as a cosine of its fringes, and the model's.

    Lines go `along` one of the axes.
    """
    mean = np.exp(np.clip(zernike_sum_on_rays(fit.light_terms, fit.light, rho, angle), -20, 20))
    contrast = zernike_sum_on_rays(fit.contrast_terms, fit.contrast, rho, angle)
    order = zernike_sum_on_rays(fit.model.terms, fit.model.values, rho, angle)
    places = _pixels(edge, rho, angle)
    step_px = np.hypot(*(np.gradient(one, axis=along) for one in places))
    cycles = np.abs(np.gradient(order, axis=along))
    x, y = np.rint(places).astype(int)
    framed = (x >= 0) & (y >= 0) & (x < photo.width) & (y < photo.height)
    framed[framed] = ~photo.clipped[y[framed], x[framed]]
    counted = framed & (cycles < _FINEST * np.minimum(step_px, 1))
    seen = cosine_of((1 - light / mean) / np.maximum(contrast, least_contrast(fit)), fit.sharpness)
    meant = np.cos(2 * math.pi * order)
    counted &= ~_far_beyond(seen, 3 * robust_sigma(_bend(seen - meant, along)), along)
    return Lines(np.clip(seen, -_MOST_SWING, _MOST_SWING), meant, counted)


def _far_beyond(seen: Floating, noise: float, along: int) -> NDArray[np.bool_]:
    """Places whose light no fringe has, and those next to them, which a lens mixes with them."""
    beyond = np.abs(seen) > _NO_FRINGE + noise
    found = beyond.copy()
    for step in range(1, _BESIDE + 1):
        # lines that close go round, of others some places at the end are lost
        for way in (step, -step):
            found |= np.roll(beyond, way, axis=along)
    return found


def _bend(difference: Floating, along: int = 1) -> Floating:
    """Sizes of the second differences of lines, scaled to the deviation of the noise in them."""
    return np.asarray(np.abs(np.diff(difference, 2, axis=along)) / math.sqrt(6))


def folded(model: OrderModel) -> float | None:
    """Ring at which an order turns back at a fringe with a kink, as a share of the radius.

    Parameters
    ----------
    model : OrderModel

    Returns
    -------
    float or None
        None where there is none, or it goes less than a ninth of the way round.
    """
    rho = np.linspace(0, 1, 257)
    angle = (np.arange(_RAYS) + 0.5) / _RAYS * 2 * math.pi
    order = zernike_sum_on_rays(model.terms, model.values, rho, angle)
    smooth = np.linalg.qr(np.vander(rho, _SMOOTH))[0]
    slope = np.sign(np.diff(order, axis=1))
    found = np.full(_RAYS, -1)
    for ray, before in zip(*np.nonzero(slope[:, 1:] * slope[:, :-1] < 0), strict=True):
        if found[ray] < 0 and _is_fold(order[ray], int(before) + 1, smooth):
            found[ray] = before + 1
    place = _side_by_side(found, _MANY, _NEAR * rho.size, closed=True)
    return None if place is None else place / (rho.size - 1)


def _is_fold(order: Vector, crest: int, smooth: Vector) -> bool:
    """Whether the order along a ray turns at a whole or half order, and is smooth if it does not.

    `smooth` has the columns, orthogonal, of a polynomial along the ray.
    """
    twice = 2 * float(order[crest])
    if abs(twice - round(twice)) > 2 * _AT_EXTREME:
        return False
    unfolded = order.copy()
    unfolded[crest:] = 2 * order[crest] - order[crest:]
    bent, straight = (float(np.std(one - smooth @ (smooth.T @ one))) for one in (order, unfolded))
    return bent > _LEAST_BEND and straight < _STRAIGHTER * bent
