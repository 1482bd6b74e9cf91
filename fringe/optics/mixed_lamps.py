"""Lamps of several colours, and what one channel of a colour camera sees of them.

A mercury lamp without a filter shines in violet, blue, green and yellow. In the green channel the
green line makes most of the fringes, and the yellow ones a share, whose fringes are wider: near the
contact both together look like fringes of a wavelength between, farther out they run apart and
together again. How large the share is hangs on the camera and on the lamp, of which a range is
taken: plausible curves of a camera's filters, and neighbours half to twice as strong.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.lamps import Lamp, Line

Array = NDArray[np.float64]

# Filters of cameras: centre, standard deviation [nm] of a bell, and what leaks through at any
# wavelength; with how far each is taken to vary (from memory of published curves of cameras)
_FILTERS = {"green": (535.0, 38.0), "blue": (460.0, 30.0)}
_CENTRES_NM, _WIDTHS, _LEAKS = (-10.0, 0.0, 10.0), (0.85, 1.0, 1.2), (0.02, 0.06)
_STRENGTHS = (0.5, 1.0, 2.0)  # of the neighbours beside the line
_ONE_NM = 5.0  # lines so near to each other count as one


@dataclass(frozen=True)
class ChannelLight:
    """A lamp as one channel of a camera sees it.

    Attributes
    ----------
    lamp : Lamp
        The line that dominates in it, or two near ones, under the lamp's own name.
    neighbours_nm : ndarray, shape (L,)
        The other lines.
    shares : ndarray, shape (K, L)
        What each has of the light there, as strengths over that of the dominating line, for each
        of a range of cameras and lamps.
    """

    lamp: Lamp
    neighbours_nm: Array
    shares: Array

    @property
    def share(self) -> float:
        """What the neighbours have of all light in this channel, median of the range."""
        strength = self.shares.sum(axis=1)
        return float(np.median(strength / (1 + strength)))

    def contrast(self, orders: Array) -> Array:
        """Contrast of the mixture's fringes at orders of the line, 0 to 1, shape (K, P)."""
        return np.asarray(np.abs(self._sum(orders)) / (1 + self.shares.sum(axis=1))[:, None])

    def run_ahead(self, orders: Array) -> Array:
        """How far fringes of the mixture are ahead of the line's own [fringe], shape (K, P).

        The phase of ``1 + sum_l q_l exp(2 pi i m (L / L_l - 1))`` at an order m of the line L.

        Parameters
        ----------
        orders : ndarray, shape (P,)
            Orders of the line, from the contact.
        """
        return np.asarray(np.angle(self._sum(orders)) / (2 * math.pi))

    def _sum(self, orders: Array) -> NDArray[np.complex128]:
        """Waves of all lines over that of the dominating one, shape (K, P)."""
        apart = self.lamp.wavelength_nm / self.neighbours_nm - 1
        waves = np.exp(2j * math.pi * apart[:, None] * orders)
        return np.asarray(1 + self.shares @ waves)


@lru_cache(16)
def channel_light(lamp: Lamp, channel: str) -> ChannelLight:
    """What a channel sees of a lamp of several colours.

    Parameters
    ----------
    lamp : Lamp
    channel : {'green', 'blue'}
    """
    usual = [_seen(channel, line, (0.0, 1.0, _LEAKS[0])) for line in lamp.lines]
    strongest = lamp.lines[int(np.argmax(usual))]
    near = [abs(one.wavelength_nm - strongest.wavelength_nm) < _ONE_NM for one in lamp.lines]
    own = tuple(line for line, is_near in zip(lamp.lines, near, strict=True) if is_near)
    others = [line for line, is_near in zip(lamp.lines, near, strict=True) if not is_near]
    shares = []
    for *how, strength in itertools.product(_CENTRES_NM, _WIDTHS, _LEAKS, _STRENGTHS):
        line = math.fsum(_seen(channel, one, tuple(how)) for one in own)
        shares.append([strength * _seen(channel, one, tuple(how)) / line for one in others])
    wide = max(one.wavelength_nm for one in own) - min(one.wavelength_nm for one in own)
    # of two near lines the shares are not known: rms over all of them from 1:3 to 3:1
    u_nm = math.hypot(lamp.u_wavelength_nm, 0.14 * wide)
    seen = replace(lamp, lines=own, u_wavelength_nm=u_nm)
    return ChannelLight(seen, np.array([one.wavelength_nm for one in others]), np.array(shares))


def _seen(channel: str, line: Line, how: tuple[float, ...]) -> float:
    """How strongly a channel sees a line: by shift, width and leak of its filter."""
    centre, width = _FILTERS[channel]
    shift, wider, leak = how
    off = (line.wavelength_nm - centre - shift) / (width * wider)
    return line.weight * (math.exp(-(off**2) / 2) + leak)
