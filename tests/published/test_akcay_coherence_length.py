"""Coherence length of a Gaussian spectrum.

Sources
-------
READ   Wikipedia, "Coherence length", which cites C. Akcay, P. Parrein, J. P. Rolland, Appl. Opt.
       41 (2002) 5256, equation 8: (2 ln 2 / pi) lambda^2 / (n dlambda), the path difference that
       reduces "the fringe visibility to 50%".
RUN    the numbers, from that formula.

Other texts (READ: Britannica) call lambda^2 / (2 dlambda) the coherence length: not used here.
"""

from __future__ import annotations

import pytest

from fringe.optics.lamps import lamp


@pytest.mark.parametrize(
    ("name", "um"),
    [
        ("led:525:30", 4.0542),
        ("led:525:35", 3.4750),
        ("led:465:20", 4.7707),
        ("led:630:18", 9.7300),
        ("led:546.07:10", 13.1584),
    ],
)
def test_coherence_length_of_diodes(name, um):
    """The formula gives the computed lengths, and contrast is 50 % there (published)."""
    led = lamp(name)
    assert led.coherence_length_nm / 1000 == pytest.approx(um, abs=5e-5)
    assert led.contrast(1000 * um) == pytest.approx(0.5, abs=2e-5)


@pytest.mark.parametrize(("peak", "width"), [(525.0, 30.0), (630.0, 18.0)])
def test_contrast_at_lambda_squared_over_width(peak, width):
    """At a path of lambda^2 / dlambda a contrast of 0.02845 is left (analytic)."""
    led = lamp(f"led:{peak}:{width}")
    assert led.contrast(peak**2 / width) == pytest.approx(0.02845, abs=5e-6)
