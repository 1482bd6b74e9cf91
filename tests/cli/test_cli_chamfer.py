"""A work's chamfer: on record, at one visit, in what is shown, and into another archive."""

from __future__ import annotations

import pytest

from calling import call, refused
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading
from fringe.archive.store.surface import find_surface
from fringe.archive.views.surface_state import surface_state
from fringe.optics.spheres import power_fringes, radius_difference_mm

ADD = ("surface", "add", "shop", "lens", "--form", "convex", "--radius", "90mm", "--lamp", "sodium")


@pytest.fixture
def lens(capsys, photos):
    """A lens of 50 mm over all with a chamfer, in the shop, and photographs to be logged."""
    sizes = ("--diameter", "50mm", "--chamfer", "0.5mm", "--tolerance-power", "3")
    made = call(capsys, *ADD, *sizes, "--json").json
    assert (made["diameter_mm"], made["outside_diameter_mm"], made["chamfer_mm"]) == (49, 50, 0.5)
    return photos


def logged(capsys, *words) -> LoggedReading:
    """Log a photograph of the lens; its reading as it was kept."""
    assert call(capsys, "log", "shop/lens", *words, "--sense", "centre", "--yes").status == 0
    folder = find_surface("shop/lens").folder
    return open_session(list_sessions(folder)[-1].place).visit.readings[0]


def test_a_photograph_is_read_over_the_face(capsys, lens):
    """Each later photograph is read with the face's diameter, and how well that is known."""
    logged(capsys, *lens("2.jpg"))
    options = lens.reader.options
    assert (options.diameter_mm, options.chamfer_mm) == (49.0, 0.5)
    assert options.u_diameter_mm == pytest.approx(0.1)
    text = call(capsys, "surface", "show", "shop/lens").out
    shown = "aperture 49 mm (over all 50 mm, chamfer 0.5 mm)"
    assert shown in text
    assert shown in " ".join(call(capsys, "progress", "shop/lens").out.split())
    listed = call(capsys, "surfaces", "shop", "--json").json["surfaces"]
    sizes = {one["name"]: (one["diameter_mm"], one["outside_diameter_mm"]) for one in listed}
    assert sizes["lens"] == (49.0, 50.0)


def test_changes_keep_the_diameter_over_all(capsys, lens):
    """A new chamfer leaves the diameter over all, a new diameter the chamfer."""
    wider = call(capsys, "surface", "change", "shop/lens", "--chamfer", "1mm", "--json").json
    assert (wider["diameter_mm"], wider["outside_diameter_mm"]) == (48, 50)
    larger = call(capsys, "surface", "change", "shop/lens", "--diameter", "60mm", "--json").json
    assert (larger["diameter_mm"], larger["chamfer_mm"]) == (58, 1)
    none = call(capsys, "surface", "change", "shop/lens", "--chamfer", "0mm", "--json").json
    assert (none["diameter_mm"], none["outside_diameter_mm"], none["chamfer_mm"]) == (60, 60, 0)


@pytest.mark.parametrize(("chamfer", "face"), [("2mm", 46.0), ("0mm", 50.0)])
def test_a_visit_may_have_another(capsys, lens, chamfer, face):
    """Its circle is the face that was there, and its power is carried to that on record (analytic).

    The sphere is the same: its radius difference over the one circle gives the power over the
    other.
    """
    one = logged(capsys, *lens("2.jpg"), "--chamfer", chamfer)
    assert (lens.reader.options.diameter_mm, one.aperture_mm) == (face, face)
    row = surface_state(find_surface("shop/lens")).rows[-1]
    light = 589.1942
    step = radius_difference_mm(2.0, 90.0, face, light, "convex")
    expected = power_fringes(step, 90.0, 49.0, light, "convex")
    assert row.power_fringes == pytest.approx(expected, rel=2e-3)
    corrected = logged(capsys, "--replaces", "1", "--chamfer", "0.5mm")
    assert (lens.reader.options.diameter_mm, corrected.aperture_mm) == (49.0, None)


def test_it_goes_along(capsys, lens, tmp_path):
    """Export and import, move, check and report have both diameters."""
    logged(capsys, *lens("2.jpg"))
    assert call(capsys, "export", "shop/lens", "lens.nc").status == 0
    assert call(capsys, "import", "lens.nc", "other").status == 0
    surface = find_surface("other/lens")
    assert (surface.diameter_mm, surface.outside_diameter_mm) == (49.0, 50.0)
    (session,) = list_sessions(surface.folder)
    assert open_session(session.place).surface.chamfer_mm == 0.5
    assert call(capsys, "check", "other").status == 0
    assert call(capsys, "report", "other/lens", "--out", "report.html").status == 0
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "aperture ⌀ 49 mm" in page
    assert "over all ⌀ 50 mm" in page


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("log", "shop/lens", "2.jpg", "--chamfer", "13mm"), "leave no work of 50 mm"),
        (("log", "shop/lens", "2.jpg", "--chamfer", "-1mm"), "zero or more"),
        (("log", "shop/lens", "2.jpg", "--chamfer", "1mm", "--aperture", "9mm"), "give one"),
        (("read", "2.jpg", "--lamp", "sodium", "--chamfer", "1mm"), "diameter over all as well"),
        (("surface", "change", "shop/lens", "--chamfer", "25mm"), "leave no work"),
    ],
)
def test_what_makes_no_sense(capsys, lens, words, line):
    """One line each, and nothing is written."""
    lens("2.jpg")
    assert line in refused(capsys, *words)


def test_plates_have_none(capsys, lens):
    """A plate's circle is said by itself."""
    record = ("instrument", "add", "plate", "shop")
    for name, form in (("P7", "convex"), ("P8", "concave")):
        words = (*record, name, "--form", form, "--radius", "90mm", "--diameter", "50mm")
        assert call(capsys, *words).status == 0
    words = ("plate", "log", "shop/P7", *lens("2.jpg"), "--against", "P8", "--lamp", "sodium")
    assert "--chamfer is of a work" in refused(capsys, *words, "--chamfer", "1mm")
