"""One difference, one tolerance, in all their forms."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fringe.errors import BadInput
from fringe.judge.tolerance.tolerance import KINDS, Aperture, difference, form_tolerance
from fringe.judge.tolerance.use import Use
from fringe.optics.spheres import sagitta_mm

APERTURE = Aperture(3048.0, 150.0, 589.3)
FIELDS = {
    "radius": ("radius_difference_mm", 1.0),
    "percent": ("percent", 1.0),
    "sagitta": ("sagitta_um", 1e-3),
    "gap": ("gap_nm", 1.0),
    "fringes": ("power_fringes", 1.0),
}


@given(
    st.floats(100, 1e4),
    st.floats(0.02, 1.7),
    st.floats(-30, 30),
    st.sampled_from(["convex", "concave"]),
    st.sampled_from(KINDS),
)
def test_every_unit_leads_back(radius, ratio, fringes, work, kind):
    """From fringes to any unit and back closes to 1e-6 fringe (analytic)."""
    aperture = Aperture(radius, ratio * radius, 589.3, work)
    try:
        first = difference("fringes", fringes, aperture)
    except BadInput:
        assume(False)
    name, to_input = FIELDS[kind]
    second = difference(kind, getattr(first, name) * to_input, aperture)
    assert second.power_fringes == pytest.approx(fringes, abs=1e-6)


@given(st.floats(0.01, 1.7), st.floats(-20, 20))
def test_sagitta_is_the_difference_of_the_sagittas(ratio, step):
    """The sagitta difference, formed without cancellation, is that of the sagittas (analytic)."""
    assume(abs(step) > 1e-3)
    aperture = Aperture(1000.0, ratio * 1000.0, 589.3)
    assume(1000.0 + step > aperture.semi_mm)
    found = difference("radius", step, aperture)
    plain = sagitta_mm(1000.0 + step, aperture.semi_mm) - sagitta_mm(1000.0, aperture.semi_mm)
    assert found.sagitta_um == pytest.approx(1000 * plain, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("work", "step", "sense"),
    [
        ("convex", -1.0, "centre"),
        ("convex", 1.0, "edge"),
        ("concave", 1.0, "centre"),
        ("concave", -1.0, "edge"),
        ("convex", 0.0, "everywhere"),
    ],
)
def test_signs(work, step, sense):
    """Contact at the centre is R_convex < R_concave, whichever piece is the work."""
    found = difference("radius", step, Aperture(3048.0, 150.0, 589.3, work))
    assert found.sense == sense
    assert math.copysign(1, found.sagitta_um) == math.copysign(1, -step) or step == 0


def test_tolerance_never_allows_more():
    """Each form of a limit, on either side, is inside the limit that was given (analytic)."""
    aperture = Aperture(100.0, 180.0, 589.3)  # steep: the two sides differ by a factor of two
    one = form_tolerance({"fringes": 3.0}, aperture)
    assert one.power_fringes == 3.0
    for sign in (1, -1):
        assert abs(
            difference("radius", sign * one.radius_difference_mm, aperture).power_fringes
        ) <= (3.0 + 1e-9)
    other = form_tolerance({"radius": 0.01}, aperture)
    for sign in (1, -1):
        step = difference("fringes", sign * other.power_fringes, aperture).radius_difference_mm
        assert abs(step) <= 0.01 + 1e-9


@pytest.mark.parametrize("key", ["fringes", "radius", "percent", "sagitta", "gap", "wavefront"])
def test_what_was_given_stays(key):
    """The limit that was given comes back as it was."""
    names = {
        "fringes": ("power_fringes", 1.0),
        "radius": ("radius_difference_mm", 1.0),
        "percent": ("percent", 1.0),
        "sagitta": ("sagitta_um", 1000.0),
        "gap": ("gap_nm", 1.0),
        "wavefront": ("wavefront_waves", 1.0),
    }
    name, factor = names[key]
    one = form_tolerance({key: 0.0123}, APERTURE)
    assert getattr(one, name) == pytest.approx(0.0123 * factor, rel=1e-12)


def test_iso_code_in_all_forms():
    """Code, wavelength and nanometres agree: 2 fringes of 546.07 nm are 546.07 nm (analytic)."""
    one = form_tolerance({"iso": "3/ 2(0.5/0.25); RMSi < 0.1; λ = 546.07 nm"}, APERTURE)
    assert one.gap_nm == pytest.approx(546.07)
    assert one.power_fringes == pytest.approx(2 * 546.07 / 589.3)
    assert one.irregularity_fringes == pytest.approx(0.5 * 546.07 / 589.3)
    assert one.symmetric_irregularity_fringes == pytest.approx(0.25 * 546.07 / 589.3)
    assert one.rms_irregularity_fringes == pytest.approx(0.1 * 546.07 / 589.3)
    assert one.iso10110_nm == "3/ 546 nm (136 nm/68.2 nm); RMSi < 27.3 nm"


def test_each_rms_form_is_its_own():
    """RMSt, RMSi and RMSa come out under their own names and in both codes (analytic)."""
    one = form_tolerance({"iso": "3/ -; RMSt < 0.3; RMSa < 0.02; λ = 589.3 nm"}, APERTURE)
    assert one.rms_total_fringes == pytest.approx(0.3)
    assert one.rms_irregularity_fringes is None
    assert one.rms_asymmetry_fringes == pytest.approx(0.02)
    assert one.iso10110 == "3/ -; RMSt < 0.3; RMSa < 0.02; λ = 589.3 nm"  # as given
    assert one.iso10110_nm == "3/ -; RMSt < 88.3 nm; RMSa < 5.89 nm"


def cap(radius: Decimal, semi: Decimal) -> Decimal:
    return radius - (radius * radius - semi * semi).sqrt()


@pytest.mark.parametrize("work", ["convex", "concave"])
@pytest.mark.parametrize(("radius", "diameter"), [(3048, 150), (100, 50), (100, 174)])
@pytest.mark.parametrize("fringes", [7.5, 0.25, -0.25, -3.0])
def test_geometry_to_forty_digits(fringes, radius, diameter, work):
    """Both spheres drawn with 40 digits have the gap that was asked for (analytic).

    Contact at the centre: the point where the plate's normal at the rim meets the work, whose
    vertex lies on the plate's. Contact at the edge: the difference of the two caps.
    """
    wave = 589.3
    one = difference("fringes", fringes, Aperture(radius, diameter, wave, work))
    with localcontext() as context:
        context.prec = 40
        plate, semi = Decimal(radius), Decimal(diameter) / 2
        other = plate + Decimal(one.radius_difference_mm)
        step = cap(other, semi) - cap(plate, semi)
        assert float(1000 * step) == pytest.approx(one.sagitta_um, rel=1e-11)
        if fringes > 0:
            centre = plate - other  # of the work's sphere, along the axis toward the vertex
            along = centre * (1 - (semi / plate) ** 2).sqrt()
            met = along + (along * along - centre * centre + other * other).sqrt()
            gap = plate - met if work == "convex" else met - plate
        else:
            gap = step if work == "convex" else -step
        assert float(gap * 2_000_000) / wave == pytest.approx(fringes, rel=1e-11)


def test_code_without_power():
    """A code that leaves the power open limits the irregularity alone."""
    one = form_tolerance({"iso": "3/ -(1); λ = 589.3 nm"}, APERTURE)
    assert (one.power_fringes, one.wavefront_waves) == (None, None)
    assert one.irregularity_waves == pytest.approx(1.0)
    assert one.tolerance().irregularity_fringes == pytest.approx(1.0)


def test_quarter_wave_of_a_mirror():
    """A quarter wave of wavefront is an eighth of height, a quarter fringe (analytic)."""
    one = form_tolerance({"wavefront": 0.25}, APERTURE)
    assert one.power_fringes == pytest.approx(0.25)
    assert one.gap_nm == pytest.approx(589.3 / 8)


@pytest.mark.parametrize(
    ("use", "factor"),
    [
        (Use(), 2.0),
        (Use(passes=2), 4.0),
        (Use(incidence_deg=60.0), 1.0),
        (Use(footprint_mm=75.0), 0.5),
        (Use(index_after=1.5), 0.5),
        (Use(index_before=1.5, index_after=1.0), 0.5),
        (Use(index_before=1.5), 3.0),  # a mirror inside glass
    ],
)
def test_how_a_surface_is_used(use, factor):
    """Wavefront for a height: 2 n cos i of a mirror, n' - n of a lens, (d/D)^2 (analytic)."""
    assert abs(use.wavefront_per_height(150.0)) == pytest.approx(factor)
    one = form_tolerance({"gap": 100.0}, APERTURE, use)
    assert one.wavefront_waves == pytest.approx(100.0 * factor / 589.3)


def test_refraction_at_an_angle():
    """n' cos i' - n cos i with Snell's law at 45 degrees into 1.5 (analytic)."""
    inside = math.asin(math.sin(math.radians(45)) / 1.5)
    expected = 1.5 * math.cos(inside) - math.cos(math.radians(45))
    assert abs(Use(incidence_deg=45.0, index_after=1.5).path_per_height) == pytest.approx(expected)


def test_focus_of_a_mirror():
    """A mirror's focus moves by half its radius error (analytic, paraxial to 1e-3)."""
    f_number = (3048.0 / 2) / 150.0
    one = form_tolerance({"radius": 1.0}, APERTURE, Use(f_number=f_number))
    assert one.focus_shift_mm == pytest.approx(0.5, rel=1e-3)
    back = form_tolerance({"focus": 0.5}, APERTURE, Use(f_number=f_number))
    assert back.radius_difference_mm == pytest.approx(1.0, rel=2e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: form_tolerance({}, APERTURE), "nothing is limited"),
        (lambda: form_tolerance({"fringes": 1, "gap": 1}, APERTURE), "two limits"),
        (lambda: form_tolerance({"iso": "3/ 1", "gap": 1}, APERTURE), "stands alone"),
        (lambda: form_tolerance({"fringes": -1}, APERTURE), "greater than zero"),
        (lambda: form_tolerance({"focus": 1}, APERTURE), "focal ratio"),
        (lambda: form_tolerance({"irregularity": 1e308}, APERTURE), "than any surface has"),
        (lambda: form_tolerance({"luck": 1}, APERTURE), "no limit is stated"),
        (lambda: form_tolerance({"iso": "3/ 0(1)"}, APERTURE), "allows nothing"),
        (lambda: form_tolerance({"iso": "3/ 2(1/5)"}, APERTURE), "more to C"),
        (lambda: difference("percent", 1e308, APERTURE), "without end"),
        (lambda: form_tolerance({"fringes": 1}, APERTURE, Use(footprint_mm=999.0)), "larger than"),
        (lambda: difference("luck", 1, APERTURE), "no difference is stated"),
        (lambda: difference("sagitta", -1, APERTURE), "not a sphere"),
        (lambda: difference("radius", -3000, APERTURE), "smaller than half"),
        (lambda: Aperture(70.0, 150.0, 589.3), "smaller than half the aperture"),
        (lambda: Aperture(70.0, 0.0, 589.3), "not over zero"),
        (lambda: Aperture(70.0, 10.0, -1.0), "not over zero"),
        (lambda: Use(incidence_deg=90.0), "not 0 to 90"),
        (lambda: Use(index_after=1.0), "equal indices"),
        (lambda: Use(incidence_deg=60.0, index_before=1.5, index_after=1.0), "totally reflected"),
        (lambda: Use(passes=0), "at least once"),
    ],
)
def test_nonsense(call, message):
    """Limits and uses that cannot be are refused in one line."""
    with pytest.raises(BadInput, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)
