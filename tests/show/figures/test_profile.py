from __future__ import annotations

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.show.figures.profile import profile_figure
from fringe.show.figures.style import COLUMN_IN


def curve(axes, dashed):
    (line,) = [one for one in axes.lines if one.get_linewidth() > 1 and one.is_dashed() == dashed]
    return line.get_xdata(), line.get_ydata()


@pytest.mark.parametrize("power", [2.5, -0.7])
def test_pure_power_is_a_parabola_in_millimetres(made_reading, power):
    """The profile of a pure power N is N (x / semi-diameter)^2, tilt taken out (analytic)."""
    reading = made_reading(power, tilt=(3.0, -1.0), sense="centre" if power > 0 else "edge")
    figure = profile_figure(reading, diameter_mm=150.0)
    for dashed in (False, True):
        x, y = curve(figure.axes[0], dashed)
        assert (x.min(), x.max()) == (-75.0, 75.0)
        assert y == pytest.approx(power * (x / 75) ** 2, abs=1e-9)
        _, rest = curve(figure.axes[1], dashed)
        assert np.abs(rest).max() < 1e-9


def test_directions_follow_the_tilt(made_reading):
    """Along the tilt an astigmatism along it is seen with one sign, across with the other."""
    reading = made_reading(1.0, tilt=(0.0, 4.0), extra={(2, 2): 0.3})
    figure = profile_figure(reading)
    # tilt along v, where rho^2 cos 2 theta is negative
    assert curve(figure.axes[0], False)[1][0] == pytest.approx(1.0 - 0.3)
    assert curve(figure.axes[0], True)[1][0] == pytest.approx(1.0 + 0.3)
    assert curve(figure.axes[1], False)[1][-1] == pytest.approx(-0.3)


def test_tolerance_is_a_band_of_powers(made_reading):
    """The tolerance band is bounded by the spheres of plus and minus its power."""
    figure = profile_figure(
        made_reading(0.4), tolerance_fringes=2.0, irregularity_tolerance_fringes=0.5
    )
    band = figure.axes[0].collections[0]
    x, y = band.get_paths()[0].vertices.T
    assert np.abs(y).max() == pytest.approx(2.0)
    inner = np.abs(np.abs(x) - 0.5) < 1e-9
    assert inner.any()
    assert np.abs(y[inner]).max() == pytest.approx(0.5)
    limits = [line.get_ydata()[0] for line in figure.axes[1].lines if line.get_linewidth() == 0.7]
    assert sorted(limits) == [-0.25, 0.25]


def test_band_about_the_line_is_95_percent(made_reading):
    """At the rim the band is 1.96 times the height's standard uncertainty (analytic)."""
    reading = made_reading(2.0, u95=0.4)
    figure = profile_figure(reading)
    band = figure.axes[0].collections[0].get_paths()[0].vertices
    at_rim = band[np.abs(band[:, 0] - 1.0) < 1e-9][:, 1]
    # c20, c22 and c2-2 and six more terms of u = 0.1: height at (1, 0) above the centre
    jumps = {(2, 0): 2, (2, 2): 1, (3, 1): 1, (3, 3): 1, (4, 0): 0, (4, 2): 1, (4, 4): 1}
    u = 0.1 * np.sqrt(sum(k**2 for k in jumps.values()))
    assert np.ptp(at_rim) == pytest.approx(2 * 1.959964 * u)


@pytest.mark.parametrize(
    ("power", "tolerance", "irregularity", "sense"),
    [
        (4.0, 1.0, 0.5, "centre"),
        (0.0, None, None, "unknown"),
        (152.4, 1.0, None, "unknown"),
        (-98765.4, 0.25, 0.001, "edge"),
        (0.01, 50.0, 10.0, "centre"),
    ],
)
def test_extremes_stay_clean(made_reading, assert_clean, power, tolerance, irregularity, sense):
    """No text overlaps or clips, whatever the power and the tolerance."""
    figure = profile_figure(
        made_reading(power, sense=sense),
        tolerance_fringes=tolerance,
        irregularity_tolerance_fringes=irregularity,
        surface="Name " * 30,
        when="2026-11-25",
        diameter_mm=150.0 if tolerance else None,
    )
    texts = " ".join(assert_clean(figure))
    assert "λ = 546.07 nm" in texts
    assert "left to right" in texts  # no tilt here, so none is named
    assert "along the tilt" not in texts
    assert ("allowed by the tolerance" in texts) == (tolerance is not None)


def test_a_reading_without_form_is_refused(made_rings):
    """Rings without an edge have no profile; that is said in one line."""
    with pytest.raises(BadInput, match="no form"):
        profile_figure(made_rings())


def test_it_fits_a_column(made_reading, assert_clean):
    """In a column of a page nothing is cut off, and heading and facts are the page's."""
    reading = made_reading(1.2, tilt=(2.0, 0.5), extra={(4, 0): 0.1})
    figure = profile_figure(
        reading,
        tolerance_fringes=1.5,
        irregularity_tolerance_fringes=0.3,
        diameter_mm=150.0,
        width_in=COLUMN_IN,
    )
    assert "Profiles through the centre" not in assert_clean(figure)


def test_what_the_sphere_leaves_has_its_band(made_reading):
    """At the rim it is 1.96 u of the terms above the sphere's, each 1 there (analytic)."""
    reading = made_reading(2.0, u95=0.4)
    band = profile_figure(reading).axes[1].collections[0].get_paths()[0].vertices
    at_rim = band[np.abs(band[:, 0] - 1.0) < 1e-9][:, 1]
    # c22, c31, c33, c40, c42 and c44 of u = 0.1; sines are zero there
    assert np.ptp(at_rim) == pytest.approx(2 * 1.959964 * 0.1 * np.sqrt(6))


@pytest.mark.parametrize(
    ("u95", "says"), [(1e-5, "narrower than the lines"), (0.4, "Bands about the lines")]
)
def test_the_note_is_true_of_the_bands(made_reading, assert_clean, u95, says):
    """Bands that hide behind their lines are said to be narrow, not shown."""
    reading = made_reading(2.0, u95=u95, extra={(4, 0): 0.3})
    assert says in " ".join(assert_clean(profile_figure(reading)))
