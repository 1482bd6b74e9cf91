from __future__ import annotations

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.contour import ContourSet

from fringe.errors import BadInput
from fringe.photo.ellipse import Edge
from fringe.show.figures.overlay import overlay_figure
from fringe.show.figures.style import png_bytes


def contours(axes):
    return [one for one in axes.collections if isinstance(one, ContourSet)]


@pytest.mark.parametrize("power", [4.0, -6.5])
def test_lines_of_pure_power_are_circles(made_reading, made_photo, power):
    """Dark fringe m of a pure power N lies at r = R sqrt(m / N) (analytic)."""
    reading = made_reading(power, sense="centre" if power > 0 else "edge")
    figure = overlay_figure(made_photo(reading), reading)
    (lines,) = contours(figure.axes[0])
    edge = reading.edge
    assert list(lines.levels) == sorted(m for m in range(-6, 5) if 0 <= m / power <= 1)
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        if level == 0:
            continue  # a point at the centre
        x, y = path.vertices[path.codes != 79].T
        r = np.hypot(x - edge.cx, y - edge.cy)
        assert r == pytest.approx(edge.a * np.sqrt(level / power), abs=0.05)


def test_lines_in_an_oblique_view_shrink_with_the_cosine(made_reading, made_photo):
    """Seen at cos = b / a, dark fringe m lies at rho = sqrt(m / (N b / a)) (analytic)."""
    edge = Edge(210.0, 150.0, 140.0, 100.0, 25.0)
    reading = made_reading(5.0, edge=edge)
    figure = overlay_figure(made_photo(reading), reading)
    (lines,) = contours(figure.axes[0])
    assert list(lines.levels) == [0, 1, 2, 3]  # 5 fringes of gap are 3.57 seen aslant
    for level, path in zip(lines.levels[1:], lines.get_paths()[1:], strict=True):
        u, v = edge.unit(*path.vertices[path.codes != 79].T)
        assert np.hypot(u, v) == pytest.approx(np.sqrt(level / (5.0 * 100 / 140)), abs=5e-4)


def test_near_camera_moves_the_outer_lines(made_reading, made_photo):
    """From a camera at L, gap N rho^2 is seen as N rho^2 L / sqrt(L^2 + (s rho)^2) (analytic)."""
    reading = made_reading(5.0)
    figure = overlay_figure(
        made_photo(reading), reading, diameter_mm=100.0, camera_distance_mm=150.0
    )
    (lines,) = contours(figure.axes[0])
    assert list(lines.levels) == [0, 1, 2, 3, 4]
    x, y = lines.get_paths()[4].vertices[:-1].T
    rho2 = ((x - reading.edge.cx) ** 2 + (y - reading.edge.cy) ** 2) / reading.edge.a**2
    assert 5 * rho2 / np.sqrt(1 + rho2 / 9) == pytest.approx(4.0, abs=0.002)


def test_lines_lie_on_the_dark_fringes_of_the_photograph(made_reading, made_photo):
    """Along the drawn lines the photograph is near its darkest, whatever tilt and form."""
    reading = made_reading(3.0, tilt=(4.0, -2.0), extra={(2, 2): 0.6, (3, 1): 0.3})
    photo = made_photo(reading)
    (lines,) = contours(overlay_figure(photo, reading).axes[0])
    seen = []
    for path in lines.get_paths():
        x, y = path.vertices.T
        inside = np.hypot(*reading.edge.unit(x, y)) < 0.97
        seen.append(photo[np.rint(y[inside]).astype(int), np.rint(x[inside]).astype(int)])
    on_lines = np.concatenate(seen)
    assert on_lines.size > 500
    assert np.percentile(on_lines, 95) < 0.35 * 255  # bright fringes reach 0.9


def test_rings_without_an_edge(made_rings, assert_clean):
    """Without an edge, circles of r^2 = intercept + step * order are drawn (analytic)."""
    reading = made_rings()
    photo = np.full((659, 499, 3), 90, np.uint8)
    figure = overlay_figure(photo, reading, credit="made up for this test")
    main, *_, lined = figure.axes
    for axes in (main, lined):
        (rings,) = [one for one in axes.collections if isinstance(one, LineCollection)]
        every = 2 if axes is main else 1
        orders = [k for k in range(1, 25) if k % every == 0]
        radii = [np.hypot(x - 242.0, y - 344.0) for x, y in (s.T for s in rings.get_segments())]
        assert len(radii) == len(orders)
        for r, k in zip(radii, orders, strict=True):
            assert r == pytest.approx(np.sqrt(2600.0 + 3700.0 * k))
    texts = " ".join(assert_clean(figure))
    assert "no edge in view" in texts
    assert "λ = 589.3 nm" in texts
    assert "3700 ± 60" in texts
    assert "made up for this test" in texts


def test_few_fringes_get_lines_all_over_and_many_leave_half_bare(made_reading, made_photo):
    """Up to eight dark fringes are drawn all over; more leave the left half as photographed."""
    few, many = made_reading(4.0), made_reading(22.0)
    for reading, halved in ((few, False), (many, True)):
        figure = overlay_figure(made_photo(reading), reading)
        axes = figure.axes[0]
        (lines,) = contours(axes)
        box = lines.get_clip_path().get_fully_transformed_path().vertices
        left = axes.transData.inverted().transform(box)[:, 0].min()
        wanted = reading.edge.cx if halved else reading.edge.cx - reading.edge.a
        assert left == pytest.approx(wanted, abs=0.2)
        assert len(figure.axes) == (5 if halved else 1)


def test_close_ups_draw_every_line(made_reading, made_photo):
    """Where the whole picture shows every tenth line, the enlarged places show each one."""
    reading = made_reading(150.0, edge=Edge(600.0, 600.0, 560.0, 560.0))
    figure = overlay_figure(made_photo(reading, 1200, 1200), reading)
    main, bare, lined, bare_too, lined_too = figure.axes
    assert set(np.diff(contours(main)[0].levels)) == {10}
    for axes in (lined, lined_too):
        assert set(np.diff(contours(axes)[0].levels)) == {1}
        x0, x1 = axes.get_xlim()
        assert 12 <= x1 - x0 <= 200
    assert not contours(bare)
    assert not contours(bare_too)
    assert lined.get_xlim() == bare.get_xlim()


def test_facts_and_numbers_are_said(made_reading, made_photo, assert_clean):
    """The figure says aperture, wavelength, date, surface, power with its limits and sense."""
    reading = made_reading(4.0, warnings=("Dust hides a fifth of the aperture.",))
    figure = overlay_figure(
        made_photo(reading),
        reading,
        title="A title",
        surface="Convex no. 3",
        when="2026-11-25",
        diameter_mm=150.0,
        credit="nobody",
    )
    texts = " ".join(assert_clean(figure))
    for wanted in (
        "A title",
        "Convex no. 3",
        "2026-11-25",
        "150 mm (260 px)",
        "λ = 546.07 nm",
        "+4.00 ± 0.05",
        "Contact at the centre",
        "given by hand",
        "Warning",
        "Dust hides a fifth of the",
        "Photograph: nobody",
        "3/ 4.0(0.30/0.10)",
    ):
        assert wanted in texts


def test_unknown_sense_is_said_and_not_signed(made_reading, made_photo, assert_clean):
    """A power of unknown sense has no sign, and the panel says that it is unknown."""
    reading = made_reading(-4.0, sense="unknown")
    texts = " ".join(assert_clean(overlay_figure(made_photo(reading), reading)))
    assert "sign unknown" in texts
    assert "4.00 ± 0.05" in texts
    assert "+4.00" not in texts


LONG = (
    "The edge was found over 61 % of its length only; the rest lies in shade. "
    "averyveryverylongwordwithoutanyspacethatnolinecouldeverholdbyitselfbecauseitistoolong "
) * 4


@pytest.mark.parametrize(
    ("power", "u95", "shape", "edge"),
    [
        (1e-6, 1e-7, (320, 400), None),
        (0.3, None, (64, 64), Edge(31.0, 31.0, 30.0, 30.0)),
        (152.4, 0.4, (700, 700), Edge(350.0, 350.0, 330.0, 320.0, 70.0)),
        (123456.789, 0.001, (320, 400), None),
        (3.0, 1e3, (120, 2000), Edge(1000.0, 60.0, 900.0, 50.0)),
        (12.0, 0.1, (2000, 120), Edge(60.0, 1000.0, 900.0, 50.0, 90.0)),
        (9.0, 0.1, (300, 300), Edge(260.0, 150.0, 140.0, 140.0)),  # runs out of the picture
    ],
)
def test_extremes_stay_clean(made_reading, made_photo, assert_clean, power, u95, shape, edge):
    """No text overlaps, clips or shrinks out of sight at extreme values and shapes."""
    reading = made_reading(power, edge=edge, u95=u95, warnings=(LONG, "short", LONG))
    figure = overlay_figure(
        made_photo(reading, *shape),
        reading,
        title=LONG[:200],
        surface=LONG[:120],
        when="2026-11-25T10:11:12+01:00",
        diameter_mm=123.456789,
        credit=LONG,
    )
    assert_clean(figure)
    width, height = figure.get_size_inches()
    assert width == 7.5
    assert height < 30


def test_text_with_mathematics_or_foreign_letters_is_drawn_as_it_is(
    made_reading, made_photo, assert_clean, recwarn
):
    """Dollar signs are no formulas, and letters that the type lacks become boxes, not warnings."""
    reading = made_reading(4.0, warnings=("costs $5 and $6_x",))
    figure = overlay_figure(made_photo(reading), reading, surface="レンズ $x^2$")
    texts = " ".join(assert_clean(figure))
    assert "▯▯▯ $x^2$" in texts
    assert "costs $5 and $6_x" in texts
    assert not [one for one in recwarn if "Glyph" in str(one.message)]


@pytest.mark.parametrize("kind", ["uint8", "uint16", "float32"])
def test_kinds_of_samples_look_alike(made_reading, made_photo, kind):
    """8 and 16 bit pictures are shown alike, and linear light is encoded for the screen."""
    reading = made_reading(4.0)
    photo = made_photo(reading)
    photo[158:163, 198:203] = 255  # linear light is shown up to its greatest value
    encoded = photo / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    image = {"uint8": photo, "uint16": photo.astype(np.uint16) * 257}.get(kind, linear)
    shown = overlay_figure(image.astype(kind), reading).axes[0].images[0].get_array()
    wanted = overlay_figure(photo, reading).axes[0].images[0].get_array()
    assert np.abs(shown.astype(int) - wanted.astype(int)).max() <= 1


def test_colour_is_kept_in_the_bare_half(made_reading, made_photo):
    """The bare half keeps the photograph's colour; under the lines it is grey."""
    reading = made_reading(22.0)
    photo = (made_photo(reading)[..., None] * np.array([1.0, 0.7, 0.1])).astype(np.uint8)
    shown = np.asarray(overlay_figure(photo, reading).axes[0].images[0].get_array())
    left, right = shown[:, : shown.shape[1] // 3], shown[:, -shown.shape[1] // 3 :]
    assert np.ptp(right, axis=2).max() == 0
    assert np.ptp(left, axis=2).mean() > 50


def test_large_pictures_are_reduced_without_false_fringes(made_reading, made_photo):
    """Fringes too fine to be shown turn grey; none of their energy comes back as wide fringes."""
    edge = Edge(1000.0, 1000.0, 990.0, 990.0)
    reading = made_reading(0.0, tilt=(420.0, 0.0), edge=edge)  # 2.36 px a fringe
    figure = overlay_figure(made_photo(reading, 2000, 2000), reading)
    shown = np.asarray(figure.axes[0].images[0].get_array(), float)[..., 0]
    middle = shown[shown.shape[0] // 2 - 50 : shown.shape[0] // 2 + 50, 200:-200]
    assert max(shown.shape) <= 5.4 * 220 + 1
    assert middle.std() < 6  # of 255; the fringes themselves have 72


def test_from_a_file(made_reading, made_photo, tmp_path):
    """A photograph may be given by its path."""
    from PIL import Image

    reading = made_reading(4.0)
    path = tmp_path / "photo.png"
    Image.fromarray(made_photo(reading)).save(path)
    by_path = overlay_figure(path, reading).axes[0].images[0].get_array()
    by_array = overlay_figure(made_photo(reading), reading).axes[0].images[0].get_array()
    assert np.array_equal(by_path, by_array)


def test_a_form_without_piston_draws_no_lines(made_reading, made_photo, assert_clean):
    """Where the reading does not say which places are dark, no lines are made up."""
    from dataclasses import replace

    reading = made_reading(4.0)
    form = reading.form
    bare = replace(form, terms=form.terms[1:], values=form.values[1:])
    figure = overlay_figure(made_photo(reading), replace(reading, form=bare))
    assert not contours(figure.axes[0])
    assert "No lines" in " ".join(assert_clean(figure))


def test_wrong_pictures_are_refused(made_reading):
    """What is not a picture, or does not hold the edge, is refused with one line."""
    with pytest.raises(BadInput, match="shape"):
        overlay_figure(np.zeros((2, 3, 4, 5)), made_reading())
    reading = made_reading(edge=Edge(5000.0, 5000.0, 100.0, 100.0))
    with pytest.raises(BadInput, match="another picture"):
        overlay_figure(np.zeros((300, 400), np.uint8), reading)


def test_the_picture_is_a_png_of_the_stated_size(made_reading, made_photo):
    """The rendered PNG has 220 px an inch of the figure's size."""
    import io

    from PIL import Image

    reading = made_reading(4.0)
    figure = overlay_figure(made_photo(reading), reading)
    picture = Image.open(io.BytesIO(png_bytes(figure)))
    width, height = figure.get_size_inches()
    assert picture.size == (round(220 * width), int(220 * height))
