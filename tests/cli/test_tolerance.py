"""`fringe tolerance`: all forms of a tolerance, and what a system allows."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from calling import HEAVY, call, loaded, refused

BENCH = ("--radius", "3048mm", "--diameter", "150mm", "--wavelength", "589.3nm")
TRAIN = Path(__file__).parents[2] / "examples" / "train.toml"


@pytest.mark.parametrize(
    "words",
    [
        ("--power", "3"),
        ("--gap", "883.95nm"),
        ("--wavefront", "3"),
        ("--iso", "3/ 3(1); λ = 589.3 nm"),
        ("--iso", "3/ 883.95 nm(294.65 nm)"),
    ],
)
def test_three_fringes_however_stated(words, capsys):
    """Three fringes come out of each way to say them."""
    values = call(capsys, "tolerance", *words, *BENCH, "--json").json
    assert values["power_fringes"] == pytest.approx(3.0)
    assert values["wavefront_waves"] == pytest.approx(3.0)
    given = words[1] if "λ" in words[1] else "3/ 3.0"
    assert values["iso10110"].startswith(given)
    assert values["wavelength_nm"] == pytest.approx(589.3)


@pytest.mark.parametrize(
    ("option", "key", "unit", "factor"),
    [
        ("--radius-tolerance", "radius_difference_mm", "mm", 1),
        ("--percent", "percent", "", 1),
        ("--sagitta", "sagitta_um", "um", 1),
        ("--focus-shift", "focus_shift_mm", "mm", 1),
    ],
)
def test_each_form_leads_back(option, key, unit, factor, capsys):
    """A form that one call prints, another takes, and allows no more fringes than the first."""
    use = ("--f-number", "10")
    first = call(capsys, "tolerance", "--power", "3", *BENCH, *use, "--json").json
    words = (option, f"{first[key] * factor!r}{unit}")
    second = call(capsys, "tolerance", *words, *BENCH, *use, "--json").json
    assert second["power_fringes"] == pytest.approx(3.0, rel=3e-3)
    assert second["power_fringes"] <= 3.0 + 1e-9


def test_quarter_wave_with_use(capsys):
    """A quarter wave of green, at 60 degrees, over half the aperture: 2 fringes (analytic)."""
    values = call(
        capsys,
        "tolerance",
        "--quarter-wave",
        *BENCH,
        "--incidence",
        "60",
        "--footprint",
        "75mm",
        "--use-wavelength",
        "589.3nm",
        "--json",
    ).json
    assert values["power_fringes"] == pytest.approx(2.0)


def test_code_with_its_own_light(capsys):
    """A code that states its wavelength needs no --lamp."""
    values = call(
        capsys,
        "tolerance",
        "--iso",
        "3/ 2(1/0.5); λ = 632.8 nm",
        "--radius",
        "100mm",
        "--diameter",
        "50mm",
        "--json",
    ).json
    assert values["gap_nm"] == pytest.approx(632.8)
    assert values["symmetric_irregularity_fringes"] == pytest.approx(0.5)


def test_text(capsys):
    """The code stands first, then a line for each form."""
    text = call(capsys, "tolerance", "--power", "3", "--irregularity", "0.5", *BENCH).out
    lines = text.splitlines()
    assert lines[0] == "3/ 3.0(0.50); λ = 589.3 nm  over 150 mm, radius 3048 mm"
    assert "  in nanometres      3/ 883 nm (147 nm)" in lines
    assert "  radius             ±2.917 mm (±0.09569 %)" in lines
    assert all(len(line) <= 80 for line in lines)


def test_rms_forms_and_single_ones(capsys):
    """Each rms form of a code has its line, and one fringe or wave is no plural."""
    code = "3/ 1(1); RMSt < 0.2; RMSi < 0.1; RMSa < 0.05; λ = 589.3 nm"
    text = call(capsys, "tolerance", "--iso", code, *BENCH).out
    lines = text.splitlines()
    assert lines[0].startswith(code)
    assert "  power              ±1 fringe at 589.30 nm" in lines
    assert "  irregularity       1 fringe, 1 wave of wavefront" in lines
    assert "  rms, RMSt          0.2 fringes of the whole deviation" in lines
    assert "  rms, RMSi          0.1 fringes of the irregularity" in lines
    assert "  rms, RMSa          0.05 fringes of what is not symmetric in it" in lines


def test_system(capsys):
    """The example train: light 0.686, the pair's match in fringes of the bench's lamp."""
    values = call(capsys, "tolerance", "--system", TRAIN, "--lamp", "sodium", "--json").json
    assert values["light"] == pytest.approx(0.686, abs=5e-4)
    assert values["match"]["wavelength_nm"] == pytest.approx(589.19, abs=0.01)
    assert values["match"]["common_radius_mm"] is None
    text = call(capsys, "tolerance", "--system", TRAIN, "--lamp", "sodium").out
    assert "68.6 % comes through 4 surfaces" in text
    assert text.startswith("relay convex and relay concave must match within")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--power", "3"), "--radius and --diameter"),
        (BENCH, "nothing is limited"),
        (("--power", "3", "--percent", "1", *BENCH), "two limits"),
        (("--power", "3", *BENCH[:4]), "one light"),
        (("--iso", "3/ 3", *BENCH[:4]), "states no wavelength"),
        (("--iso", "three", *BENCH), "not a form code"),
        (("--quarter-wave", "--wavefront", "1", *BENCH), "give one of them"),
        (("--focus-shift", "1mm", *BENCH), "--f-number"),
        (("--power", "-3", *BENCH), "greater than zero"),
        (("--power", "3", "--index", "1", *BENCH), "equal indices"),
        (("--power", "3", "--system", str(TRAIN)), "its own limit"),
        (("--system", "gone.toml"), "gone.toml"),
        (("--system", str(TRAIN), "--footprint", "9mm"), "leave --footprint out"),
        (("--system", str(TRAIN), "--radius", "9m"), "its own radii"),
        (("--power", "3", "--footprint", "151mm", *BENCH), "larger than the aperture"),
        (("--iso", "3/ 0(1)", *BENCH), "allows nothing"),
        (("--power", "3", *BENCH[:4], "--wavelength", "589"), "write for example 589nm"),
        (("--power", "3", "--passes", "0", *BENCH), "passes"),
    ],
)
def test_nonsense(words, message, capsys):
    """Limits that are missing, double or impossible get one clear line."""
    assert message in refused(capsys, "tolerance", *words)


@pytest.mark.parametrize(
    "words",
    [("--power", "3", *BENCH), ("--system", str(TRAIN), "--lamp", "sodium")],
)
def test_starts_light(words):
    """Tolerances load no numpy and nothing that is heavier."""
    assert loaded("tolerance", *words) & HEAVY == set()


def test_an_oblique_mirror(capsys):
    """A round beam's footprint is longer by 1/cos i, and half of a 45 degree defect is astigmatic.

    Analytic: 60 mm of beam at 45 degrees on a mirror of 100 mm: the longer meridian sees
    2 h cos i (60 / cos i / 100)^2 of a height h of power, which is 0.25 waves at h = 135 nm of
    550 nm: 0.25 * 550 / (2 * 0.36 / 0.7071). The beam's diameter entered as footprint would
    allow twice as much. The other meridian has cos^2 i of it.
    """
    words = ("--quarter-wave", "--radius", "3048mm", "--diameter", "100mm", "--wavelength", "550nm")
    oblique = (*words, "--incidence", "45")
    beam = call(capsys, "tolerance", *oblique, "--beam", "60mm", "--json").json
    assert beam["gap_nm"] == pytest.approx(0.25 * 550 / (2 * 0.36 / math.cos(math.pi / 4)))
    assert beam["astigmatism_waves"] == pytest.approx(0.125)
    footprint = call(capsys, "tolerance", *oblique, "--footprint", "60mm", "--json").json
    assert footprint["gap_nm"] == pytest.approx(2 * beam["gap_nm"])
    assert call(capsys, "tolerance", *words, "--json").json["astigmatism_waves"] is None
    text = call(capsys, "tolerance", *oblique, "--beam", "60mm").out
    assert "of it astigmatism  0.125 waves: a sphere met obliquely is not a sphere" in text
    refused = call(capsys, "tolerance", *oblique, "--beam", "80mm")
    assert (refused.status, refused.err.count("\n")) == (2, 1)
    assert "a footprint of 113.137 mm is larger than the aperture of 100 mm" in refused.err
