from __future__ import annotations

import numpy as np
import pytest
from matplotlib.contour import ContourSet

from fringe.errors import BadInput
from fringe.optics.spheres import sphere_form
from fringe.orders.reading import FormFit
from fringe.show.figures.form_grid import best_sphere, form_grid, form_values, height_u
from fringe.show.figures.gap_map import gap_map_figure
from fringe.show.figures.style import COLUMN_IN


def contours(axes):
    (one,) = [found for found in axes.collections if isinstance(found, ContourSet)]
    return one


def test_contours_of_pure_power_are_circles(made_reading):
    """The contour of a gap h of a pure power N lies at rho = sqrt(h / N) (analytic)."""
    figure = gap_map_figure(made_reading(4.0))
    lines = contours(figure.axes[0])
    assert list(lines.levels) == pytest.approx([0.5 * k for k in range(1, 8)])
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        assert np.hypot(*path.vertices[:-1].T) == pytest.approx(np.sqrt(level / 4.0), abs=1e-3)


def test_gap_is_counted_from_contact(made_reading):
    """The gap is zero where it is smallest: at the rim when power is negative."""
    grid = form_grid(made_reading(-3.0, sense="edge").form)
    assert grid.gap[grid.inside].min() == 0.0
    assert grid.gap[200, 200] == pytest.approx(3.0, abs=0.03)  # the grid's last point on the disc
    row, column = np.unravel_index(
        np.argmin(np.where(grid.inside, grid.gap, np.inf)), grid.gap.shape
    )
    assert np.hypot(grid.u[row, column], grid.v[row, column]) > 0.99


def test_second_map_is_what_the_sphere_leaves(made_reading):
    """Power and tilt leave nothing; a spherical term of 0.2 leaves its 0.3 peak to valley."""
    plain = form_grid(made_reading(7.0, tilt=(3.0, 1.0)).form)
    assert np.abs(plain.rest[plain.inside]).max() < 1e-9
    # 6 rho^4 - 6 rho^2 + 1 runs from 1 to -1/2 (analytic)
    grid = form_grid(made_reading(7.0, tilt=(3.0, 1.0), extra={(4, 0): 0.2}).form)
    assert np.ptp(grid.rest[grid.inside]) == pytest.approx(0.3, abs=1e-3)


def test_steep_spheres_leave_nothing_with_the_plates_radius():
    """Taking out the exact sphere of the plate leaves nothing of it where rho^2 would."""
    from fringe.optics.zernike import zernike_matrix

    rho = np.linspace(0, 1, 200)
    terms = tuple((n, 0) for n in range(0, 17, 2))
    steep = 10.0 * sphere_form(rho, 0 * rho, 100.0, 174.0)
    values = np.linalg.lstsq(zernike_matrix(terms, rho, 0 * rho), steep, rcond=None)[0]
    form = FormFit(terms, values, np.zeros((len(terms),) * 2))
    exact = best_sphere(form, 100.0, 174.0)
    assert exact.power == pytest.approx(10.0, abs=1e-3)
    paraxial = form_grid(form)
    assert np.ptp(paraxial.rest[paraxial.inside]) > 0.3
    grid = form_grid(form, radius_mm=100.0, diameter_mm=174.0)
    assert np.ptp(grid.rest[grid.inside]) < 0.01


def test_height_uncertainty_is_that_of_the_terms(rng):
    """Levelled height at the rim takes u of 2 c20 from c20 alone (analytic), and a sum by pulls."""
    terms = ((0, 0), (1, 1), (2, 0), (2, 2))
    alone = FormFit(terms, np.zeros(4), np.diag([9.0, 9.0, 0.01, 0.0]))
    assert height_u(alone, [1.0, 0.0], [0.0, 0.0]) == pytest.approx([0.2, 0.0])
    root = rng.normal(size=(4, 4))
    form = FormFit(terms, np.zeros(4), root @ root.T)
    drawn = rng.multivariate_normal(np.zeros(4), form.covariance, 40_000)
    drawn[:, :2] = 0.0  # how the piece lay
    u, v = 0.6, -0.3
    heights = [
        form_values(FormFit(terms, c, form.covariance), u, v)
        - form_values(FormFit(terms, c, form.covariance), 0.0, 0.0)
        for c in drawn[:2000]
    ]
    assert np.std(heights) == pytest.approx(height_u(form, [u], [v])[0], rel=0.1)


def test_negative_contours_are_dashed(made_reading):
    """Below zero contours are dashed and at zero they are heavier: the sign needs no colour."""
    figure = gap_map_figure(made_reading(2.0, extra={(2, 2): 0.5}))
    lines = contours(figure.axes[2])
    for level, style, width in zip(
        lines.levels, lines.get_linestyle(), lines.get_linewidth(), strict=True
    ):
        assert (style[1] is not None) == (level < -1e-9)
        assert width == (1.2 if abs(level) < 1e-9 else 0.6)
    assert min(lines.levels) < 0 < max(lines.levels)


def test_scale_is_in_fringes_and_nanometres(made_reading):
    """One fringe on the lower scale stands under half the wavelength on the upper one."""
    figure = gap_map_figure(made_reading(4.0))
    scale = figure.axes[1]
    (upper,) = scale.child_axes
    figure.canvas.draw()
    assert scale.get_xlim() == pytest.approx((0.0, 4.0), abs=0.02)
    assert upper.get_xlim()[1] == pytest.approx(scale.get_xlim()[1] * 546.07 / 2)


@pytest.mark.parametrize(
    ("power", "sense", "extra", "tilt"),
    [
        (4.0, "centre", {}, (0.0, 0.0)),
        (1e-9, "unknown", {}, (0.0, 0.0)),
        (152.4, "unknown", {(4, 0): 1.3, (3, 3): 2.0}, (80.0, 12.0)),
        (-98765.4, "edge", {(2, -2): 12.0}, (1.0, 0.0)),
        (0.3, "centre", {(4, 4): 0.004}, (0.01, 0.0)),
    ],
)
def test_extremes_stay_clean(made_reading, assert_clean, power, sense, extra, tilt):
    """No text overlaps or clips from no power at all to a hundred thousand fringes."""
    reading = made_reading(power, sense=sense, extra=extra, tilt=tilt)
    figure = gap_map_figure(
        reading, title="Gap " * 40, surface="Name " * 30, when="2026-11-25", diameter_mm=150.0
    )
    texts = " ".join(assert_clean(figure))
    assert ("upside down" in texts) == (sense == "unknown")
    assert "λ = 546.07 nm" in texts
    assert "150 mm" in texts


def test_a_reading_without_form_is_refused(made_rings):
    """Rings without an edge have no map; that is said in one line."""
    with pytest.raises(BadInput, match="no form"):
        gap_map_figure(made_rings())


def test_each_contour_is_marked_in_nm_and_in_fringes(made_reading):
    """Analytic: above each contour's mark in fringes stands its height, fringes times lambda/2."""
    figure = gap_map_figure(made_reading(3.2, tilt=(1.0, 0.0), wavelength_nm=589.3))
    for scale in figure.axes[1::2]:
        (upper,) = scale.child_axes
        fringes = [label.get_text() for label in scale.get_xticklabels()]
        heights = [label.get_text() for label in upper.get_xticklabels()]
        shown = [(f, h) for f, h in zip(fringes, heights, strict=True) if h]
        assert len(shown) >= 3
        for count, height in shown:
            plain = [float(one.replace("−", "-").replace("\u2009", "")) for one in (count, height)]
            assert plain[1] == pytest.approx(plain[0] * 589.3 / 2, abs=0.5)


@pytest.mark.parametrize("shown", ["gap", "rest"])
def test_one_map_fits_a_column(made_reading, assert_clean, shown):
    """A column of a page holds one map with its scale, nothing cut off, without a heading."""
    figure = gap_map_figure(
        made_reading(4.0, extra={(2, 2): 0.3}), width_in=COLUMN_IN, shown=(shown,)
    )
    texts = assert_clean(figure)
    assert ("Gap, as the piece lay" in texts) == (shown == "gap")
    assert ("Left by the best sphere" in texts) == (shown == "rest")
    assert "The gap over the aperture" not in texts
