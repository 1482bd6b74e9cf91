"""A lamp of several colours: which channel of a photograph it is read in, and what that costs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.mixed_lamps import ChannelLight, channel_light
from fringe.optics.zernike import zernike_matrix
from fringe.orders.doubts import Doubt, projected, rows
from fringe.orders.edge.rays import cast
from fringe.orders.fit.model import OrderModel
from fringe.orders.options import ReadOptions
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

Array = NDArray[np.float64]
# times the green channel's variation, from which the blue one is read: the green is clipped, or the
# green line filtered out
_RATHER_BLUE = 3.0
# An edge where the contrast that is left is less than this share, and the light has not come down
# to that of the surroundings just beyond it, by more than a share of the step; or there is none
# where both are as bright to a share. Places as shares of the radius, or pixels beyond it.
_CANCELLED, _OF_STEP, _ALIKE, _ROUND = 0.75, 0.3, 0.15, 90
_WITHIN, _AROUND, _BEYOND_PX = (0.85, 0.98), (1.12, 1.2), (2.0, 4.0)
# least gap of the contact, in what dust can do: it shifts where the lines run apart
_LIFTED = (0.0, 0.5, 1.5)


def in_one_line(photo: Photo, options: ReadOptions) -> tuple[Photo, ReadOptions]:
    """The photograph in the channel in which one line of the lamp dominates, and that line.

    Nothing changes under a lamp of one colour.

    Raises
    ------
    Refused
        If the photograph is grey: nothing in it tells the lines apart.
    """
    lamp = options.lamp
    if not lamp.is_mixed or options.channel_light is not None:
        return photo, options
    variation = photo.variations()
    if not variation:
        raise Refused(
            f"{photo.name}: is grey, and {lamp.name} shines in several colours, which only a colour"
            " photograph tells apart; or take it through a green filter, as --lamp mercury-green"
        )
    channel = "blue" if variation["blue"] > _RATHER_BLUE * variation["green"] else "green"
    seen = channel_light(lamp, channel)
    note = (
        f"read in the {channel} channel: {seen.lamp.wavelength_nm:.1f} nm;"
        f" {100 * seen.share:.0f} % or so of its light is of the lamp's other lines, which the"
        " uncertainty counts: a filter that passes one line tells more"
    )
    read_in = photo.in_channel(channel)
    return replace(read_in, notes=(*photo.notes, note)), replace(
        options, lamp=seen.lamp, channel_light=seen
    )


def of_one_line(
    model: OrderModel, options: ReadOptions, sense: str
) -> tuple[OrderModel, dict[str, Doubt]]:
    """Orders of the dominating line alone, from those of the mixture, and what is open of them.

    Parameters
    ----------
    model : OrderModel
        As it was fitted.
    options : ReadOptions
        With what the channel sees of the lamp; under a lamp of one colour nothing changes.
    sense : str
        Where the contact is; orders count from there. Where it is not known, from the lowest.

    Returns
    -------
    model : OrderModel
        Corrected by the mean over a range of cameras, lamps and gaps.
    doubts : dict of Doubt
        Their scatter about it, as `lines`.
    """
    seen = options.channel_light
    if seen is None:
        return model, {}
    gap = options.contact_gap.fringes(options.lamp.wavelength_nm)
    upward = -1.0 if sense == "edge" else 1.0
    orders = upward * (rows(model.terms) @ model.values)
    orders = orders - orders.min() + gap.value
    fields = np.concatenate([seen.run_ahead(orders + lifted * gap.u) for lifted in _LIFTED])
    errors = upward * projected(model.terms, fields)
    mean = errors.mean(axis=0)
    scatter = Doubt((errors - mean) / np.sqrt(len(errors)))
    return OrderModel(model.terms, model.values - mean), {"lines": scatter}


def refuse_where_lines_cancel(
    photo: Photo, edge: Edge, model: OrderModel, seen: ChannelLight
) -> None:
    """Refuse an edge found where the lines' fringes cancel, if the work's light goes on beyond.

    Fringes seem to end there; the light about the work is not that of the fringes' mean.

    Raises
    ------
    Refused
        If most of the rim lies so.
    """
    angle = np.linspace(0, 2 * np.pi, _ROUND, endpoint=False)
    orders = rows(model.terms) @ model.values
    at_rim = zernike_matrix(model.terms, np.cos(angle), np.sin(angle)) @ model.values
    contrast = np.median(seen.contrast(at_rim - orders.min()), axis=0)
    best = float(np.median(seen.contrast(np.zeros(1))))
    if np.median(contrast) > _CANCELLED * best:
        return
    px = 1 / math.sqrt(edge.a * edge.b)
    just_beyond = 1 + px * _BEYOND_PX[0], 1 + px * _BEYOND_PX[1]
    within, beyond, around = (
        np.median(cast(photo, edge, np.linspace(*part, 12), _ROUND).light, axis=1)
        for part in (_WITHIN, just_beyond, _AROUND)
    )
    step = np.abs(within - around)
    goes_on = (np.abs(beyond - around) > _OF_STEP * step) | (step < _ALIKE * within)
    if goes_on.mean() > 0.5:
        raise Refused(
            f"{photo.name}: the fringes of the lamp's lines cancel near the edge that was found,"
            " and the work may go on beyond it; give the edge with --edge CX,CY,R"
        )


def with_lines(seen: ChannelLight | None, step: float, u_step: float, rings: int) -> float:
    """Standard uncertainty of rings' spacing, with what other lines do to it.

    Parameters
    ----------
    seen : ChannelLight or None
        What the channel sees of a lamp of several colours; None for one of one colour.
    step, u_step : float
        Growth of the squared radius a ring and its standard uncertainty [px^2].
    rings : int
        How many were used.
    """
    if seen is None:
        return u_step
    orders = np.linspace(0.0, max(rings, 1), 100)
    ahead = seen.run_ahead(orders)
    about = orders - orders.mean()
    slopes = ahead @ about / (about @ about)
    return math.hypot(u_step, step * float(np.sqrt(np.mean(slopes**2))))
