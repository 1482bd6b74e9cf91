"""Prior distributions of light, contrast and form.

Each Zernike coefficient has a normal distribution whose width falls with its degree: light
and polished surfaces are smooth. It is about zero, or for the light's level about the
picture's mean. With many fringes the picture outweighs the prior by far; with few, uneven
light can look like form, and the prior keeps both plausible and the uncertainty realistic.
The unevenness of the light and the roughness of the form are estimated from the picture. How
the widths fall with degree is common practice, no source: lamps behind a diffuser vary by some
parts in ten over a work, and lapping leaves low-order and rotationally symmetric forms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fringe.optics.zernike import Term, zernike

Vector = NDArray[np.float64]
Terms = Sequence[Term]
# scales that are learned, by group of coefficients from the first; group 0 has none
_SCALES = ("light", "contrast", "symmetric", "asymmetric", "patches")
_FREE = 1e3  # width of a coefficient without a prior
_LEAST_SCALE, _MOST_SCALE = 0.02, 2.0  # bounds of the estimated scales
_RIM_BEND, _RIM_STEP = 0.02, 0.01  # second difference over hundredths of the radius [fringe]
# where it is limited, and over what steps: narrow terms bend within less than a hundredth
_BENDS = ((1.0, 0.01),)
_ZONED_BENDS = (*_BENDS, (0.995, 0.01), *((1 - k / 400, 0.005) for k in range(5)))
# a zone, a twentieth of the radius wide and a fringe high, has terms to about degree 60; a patch
# may stand as high as local bumps do [fringe]
_ZONED, _ZONED_DEGREE, _PATCH = 0.3, 45.0, 0.5
# of the power of few fringes under uneven light [fringe]
_FEW_DOUBT, _FEWER_DOUBT, _UNEVEN_DOUBT = 0.006, 0.05, 0.1
_LEAST_KNOWN = 0.02  # least share of a coefficient that a picture is taken to determine


@dataclass(frozen=True)
class Prior:
    """Scales of the prior widths, by group of coefficients.

    Attributes
    ----------
    pixels_per_observation : float
        Number of pixels that count as one independent observation, their residuals being
        correlated.
    light, contrast : float
        Of the terms by which light and contrast vary.
    symmetric, asymmetric : float
        Of the order's terms from degree five on, those with rotational symmetry and the others.
    patches : float
        Of the order's local terms.
    zoned : bool
        Of a form with zones or holes, whose symmetric terms hardly fall with their degree.
    """

    pixels_per_observation: float = 30.0
    light: float = 1.0
    contrast: float = 1.0
    symmetric: float = 1.0
    asymmetric: float = 1.0
    patches: float = 1.0
    zoned: bool = False

    def widths(self, light: Terms, contrast: Terms, order: Terms) -> Vector:
        """Standard deviations of all coefficients: log of light, contrast, order."""
        return self._scaled(
            self._unscaled_widths(light, contrast, order), _groups(light, contrast, order)
        )

    def precision(self, light: Terms, contrast: Terms, order: Terms) -> NDArray[np.float64]:
        """Inverse of the coefficients' covariance, shape (P, P).

        Beside each coefficient's own width it limits the bend of the form in the last hundredth
        of the radius, where there are no pixels: many symmetric terms together could bend sharply.
        """
        no_bends = np.zeros(len(light) + len(contrast))
        widths = self.widths(light, contrast, order)
        found = np.diag(1 / widths**2)
        for at, step in _ZONED_BENDS if self.zoned else _BENDS:
            bends = [_rim_bend(n, at, step) if m == 0 else 0.0 for n, m in order]
            rim_bends = np.concatenate([no_bends, bends])
            most = _RIM_BEND * (step / _RIM_STEP) ** 2 * self.symmetric
            found += np.outer(rim_bends, rim_bends) / most**2
        return np.asarray(found)

    def _scaled(self, unscaled: Vector, groups: NDArray[np.intp]) -> Vector:
        scales = np.array([1.0, *self._scales()])
        return np.asarray(unscaled * scales[groups])

    def _scales(self) -> tuple[float, ...]:
        return tuple(getattr(self, name) for name in _SCALES)

    def _unscaled_widths(self, light: Terms, contrast: Terms, order: Terms) -> Vector:
        """Widths at scale one."""
        of_light = [0.6 / n**1.5 if n else 0.7 for n, _ in light]
        of_contrast = [0.3 / n**1.5 if n else 1.0 for n, _ in contrast]
        of_order = [_form_width(n, m, self.zoned) for n, m in order]
        return np.array([*of_light, *of_contrast, *of_order])

    def learned(
        self, values: Vector, variances: Vector, light: Terms, contrast: Terms, order: Terms
    ) -> Prior:
        """Scales of greatest evidence for a fit.

        MacKay's fixed point (Neural Computation 4 (1992) 415, from memory): the part of a group's
        coefficients that the picture determines should have the group's width.
        """
        unscaled = self._unscaled_widths(light, contrast, order)
        groups = _groups(light, contrast, order)
        widths = self._scaled(unscaled, groups)
        known = np.clip(1 - variances / widths**2, _LEAST_KNOWN, 1)
        count = len(_SCALES) + 1
        sums = (
            np.bincount(groups, (values / unscaled) ** 2, count),
            np.bincount(groups, known, count),
        )
        scales = np.sqrt(sums[0] / np.maximum(sums[1], 1e-9))[1:]
        found = np.clip(scales, _LEAST_SCALE, _MOST_SCALE).tolist()
        return replace(self, **dict(zip(_SCALES, found, strict=True)))


def _form_width(n: int, m: int, zoned: bool) -> float:
    """Tilt, power and astigmatism are free; a turned edge is narrow and needs symmetric terms."""
    if n < 0:
        return _PATCH
    if n <= 2:
        return _FREE
    if zoned and m == 0:
        return _ZONED * float(np.exp(-((n / _ZONED_DEGREE) ** 2)))
    return 0.6 * (4 / n) ** 2.5 if m == 0 else (3 / n) ** 3


@cache
def _rim_bend(n: int, at: float, step: float) -> float:
    """Second difference of R_n^0 over two steps inward of the radius."""
    if n <= 4:
        return 0.0
    rho = np.array([at, at - step, at - 2 * step])
    return float(np.array([1, -2, 1]) @ zernike(n, 0, rho, 0 * rho))


def _groups(light: Terms, contrast: Terms, order: Terms) -> NDArray[np.intp]:
    """Group of each coefficient, 0 for those without a scale."""
    of_light = [1 if n else 0 for n, _ in light]
    of_contrast = [2 if n else 0 for n, _ in contrast]
    of_order = [5 if n < 0 else 0 if n <= 4 else 3 if m == 0 else 4 for n, m in order]
    return np.array([*of_light, *of_contrast, *of_order])


def light_doubt_of(span: float, prior: Prior) -> float:
    """Standard uncertainty of the power from light that the terms cannot follow [fringe].

    From rendered works with fewer than two fringes, under light with shadows, blotches and the
    camera's own reflection (`tests/benchmarks/fewfringes.py`): the fewer the fringes and the
    more uneven the light, the larger the error of power.
    """
    usual = _FEW_DOUBT * (4 / max(span, 4.0)) ** 2 + _FEWER_DOUBT * max(0.0, 2 - span)
    uneven = max(prior.light, prior.contrast)
    return float(np.hypot(usual, _UNEVEN_DOUBT * uneven if span < 6 and uneven > 1 else 0.0))
