"""What is likely of light, contrast and form before the picture is looked at.

Each Zernike coefficient has a normal distribution whose width falls with its degree: light
and polished surfaces are smooth. It is about zero, or for the light's level about the
picture's mean. Where fringes are many the picture outvotes it by far; where they are few,
light that varies can look like form, and this is what keeps both within reason and the
uncertainty honest. How uneven the light is, and how rough the form is, is learned from the
picture. The falls are common practice, no source: lamps behind a diffuser vary by some parts
in ten over a work, and lapping leaves low and round forms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import eval_legendre

from fringe.optics.form import Term

Vector = NDArray[np.float64]
Terms = Sequence[Term]
_FREE = 1e3  # width of what has no prior
_LEAST_SCALE, _MOST_SCALE = 0.02, 2.0  # that are learned
_RIM_BEND = 0.02  # second difference over hundredths of the radius [fringe]
_LEAST_KNOWN = 0.02  # share of a coefficient that a picture determines at the least


@dataclass(frozen=True)
class Likely:
    """What is likely, in the scales of its groups.

    Attributes
    ----------
    alike : float
        How many pixels say no more than one, since their residuals go together.
    light, contrast : float
        Of light and contrast that vary.
    round, fine : float
        Of the order's terms from degree five on, those that are round and the others.
    """

    alike: float = 30.0
    light: float = 1.0
    contrast: float = 1.0
    round: float = 1.0
    fine: float = 1.0

    def widths(self, light: Terms, contrast: Terms, order: Terms) -> Vector:
        """Standard deviations of all coefficients: log of light, contrast, order."""
        return self._scaled(_plain(light, contrast, order), _groups(light, contrast, order))

    def precision(self, light: Terms, contrast: Terms, order: Terms) -> NDArray[np.float64]:
        """Inverse of the coefficients' covariance, shape (P, P).

        Beside each coefficient's own width it holds how sharply a form may bend where no
        pixels tell, in the last hundredth of the radius: many round terms together could.
        """
        before = np.zeros(len(light) + len(contrast))
        bends = np.concatenate([before, [_rim_bend(n) if m == 0 else 0.0 for n, m in order]])
        widths = self.widths(light, contrast, order)
        return np.diag(1 / widths**2) + np.outer(bends, bends) / (_RIM_BEND * self.round) ** 2

    def _scaled(self, plain: Vector, groups: NDArray[np.intp]) -> Vector:
        scales = np.array([1.0, self.light, self.contrast, self.round, self.fine])
        return np.asarray(plain * scales[groups])

    def learned(
        self, values: Vector, variances: Vector, light: Terms, contrast: Terms, order: Terms
    ) -> Likely:
        """Scales that make a fit likeliest.

        MacKay's fixed point (Neural Computation 4 (1992) 415, from memory): what the picture
        determines of a group's coefficients should be as large as the group's width says.
        """
        plain, groups = _plain(light, contrast, order), _groups(light, contrast, order)
        widths = self._scaled(plain, groups)
        known = np.clip(1 - variances / widths**2, _LEAST_KNOWN, 1)
        sums = np.bincount(groups, (values / plain) ** 2, 5), np.bincount(groups, known, 5)
        scales = np.sqrt(sums[0] / np.maximum(sums[1], 1e-9))[1:]
        return Likely(self.alike, *np.clip(scales, _LEAST_SCALE, _MOST_SCALE).tolist())


def _plain(light: Terms, contrast: Terms, order: Terms) -> Vector:
    """Widths at scale one."""
    of_light = [0.6 / n**1.5 if n else 0.7 for n, _ in light]
    of_contrast = [0.3 / n**1.5 if n else 1.0 for n, _ in contrast]
    return np.array([*of_light, *of_contrast, *(_form_width(n, m) for n, m in order)])


def _form_width(n: int, m: int) -> float:
    """Tilt, power and astigmatism are free; a turned edge is narrow and takes round terms."""
    if n <= 2:
        return _FREE
    return 0.6 * (4 / n) ** 2.5 if m == 0 else (3 / n) ** 3


@cache
def _rim_bend(n: int) -> float:
    """Second difference of R_n^0 over the last hundredths of the radius."""
    if n <= 4:
        return 0.0
    rho = np.array([1.0, 0.99, 0.98])
    return float(np.array([1, -2, 1]) @ eval_legendre(n // 2, 2 * rho**2 - 1))


def _groups(light: Terms, contrast: Terms, order: Terms) -> NDArray[np.intp]:
    """Group of each coefficient, 0 for those that are never scaled."""
    of_light = [1 if n else 0 for n, _ in light]
    of_contrast = [2 if n else 0 for n, _ in contrast]
    of_order = [0 if n <= 4 else 3 if m == 0 else 4 for n, m in order]
    return np.array([*of_light, *of_contrast, *of_order])
