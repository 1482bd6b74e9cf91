"""What is likely of light, contrast and form, and how it is learned."""

from __future__ import annotations

import numpy as np
import pytest

from fringe.optics.zernike import zernike_terms
from fringe.orders.fit.prior import Prior

LIGHT, CONTRAST, ORDER = zernike_terms(8), zernike_terms(6), zernike_terms(8)
ALL = (LIGHT, CONTRAST, ORDER)


def test_tilt_power_and_astigmatism_are_free() -> None:
    """The picture alone decides on the order to degree two; all else is held within reason."""
    widths = Prior().widths(*ALL)[len(LIGHT) + len(CONTRAST) :]
    free = np.array([n <= 2 for n, _ in ORDER])
    assert (widths[free] > 100).all()
    assert (widths[~free] < 3).all()


def test_scales_are_those_that_coefficients_were_drawn_from(rng: np.random.Generator) -> None:
    """(analytic) From coefficients that are known exactly each scale is their root mean square.

    A scale from K coefficients scatters by 1 / sqrt(2 K); the smallest group has 10.
    """
    true = Prior(light=0.3, contrast=0.1, symmetric=0.4, asymmetric=0.8)
    widths = true.widths(*ALL)
    values = np.where(widths > 3, 0, widths * rng.standard_normal(widths.size))
    found = Prior().learned(values, np.full(widths.size, 1e-12), *ALL)
    groups = {"light": 44, "contrast": 27, "symmetric": 2, "asymmetric": 28}
    for name, count in groups.items():
        ratio = getattr(found, name) / getattr(true, name)
        assert ratio**2 * count == pytest.approx(count, abs=6 * np.sqrt(2 * count)), name


def test_what_the_picture_does_not_tell_changes_no_scale() -> None:
    """(analytic) Coefficients of the size of what is known of them keep their group's scale.

    The fixed point: where values square to the share that the picture determines, the scale
    stays as it was.
    """
    start = Prior(light=0.5)
    widths = start.widths(*ALL)
    variances = 0.7 * widths**2
    found = start.learned(np.sqrt(0.3) * widths, variances, *ALL)
    assert found.light == pytest.approx(0.5)


def test_round_terms_do_not_bend_together_where_no_pixel_tells(rng: np.random.Generator) -> None:
    """Many round terms, each within its width, may not add up to a spike at the rim."""
    order = tuple((n, 0) for n in range(0, 45, 2))
    prior = Prior()
    precision = prior.precision(((0, 0),), ((0, 0),), order)[2:, 2:]
    widths = prior.widths((), (), order)
    high = np.array([n > 4 for n, _ in order])
    rim = np.where(high, widths, 0)  # every R_n^0 is 1 at the rim: these all pull one way
    mixed = rim * rng.choice([-1, 1], rim.size)
    plain = float(((rim / widths)[high] ** 2).sum())
    assert mixed @ precision @ mixed >= plain * (1 - 1e-9)
    assert rim @ precision @ rim > 3 * plain
