"""`fringe convert`: one difference in all units."""

from __future__ import annotations

import pytest

from calling import HEAVY, call, loaded, refused
from fringe.judge.tolerance.tolerance import Aperture, difference

BENCH = ("--radius", "3048mm", "--diameter", "150mm", "--wavelength", "589.3nm")


def test_fringes_to_all(capsys):
    """Three fringes at the edge are the library's numbers, under their JSON names."""
    values = call(capsys, "convert", "--fringes", "-3", *BENCH, "--json").json
    expected = difference("fringes", -3.0, Aperture(3048.0, 150.0, 589.3))
    assert values["power_fringes"] == pytest.approx(-3.0)
    assert values["radius_difference_mm"] == pytest.approx(expected.radius_difference_mm)
    assert values["sense"] == "edge"
    assert values["gap_nm"] == pytest.approx(-3 * 589.3 / 2)


@pytest.mark.parametrize(
    ("option", "key", "factor"),
    [
        ("--fringes", "power_fringes", None),
        ("--radius-difference", "radius_difference_mm", "mm"),
        ("--percent", "percent", None),
        ("--sagitta", "sagitta_difference_um", "um"),
        ("--gap", "gap_nm", "nm"),
        ("--work-radius", "work_radius_mm", "mm"),
    ],
)
@pytest.mark.parametrize("work", ["convex", "concave"])
def test_any_unit_leads_back(option, key, factor, work, capsys):
    """What one call prints, another takes, and comes to the same fringes."""
    first = call(capsys, "convert", "--fringes", "2.5", *BENCH, "--work", work, "--json").json
    text = f"{first[key]!r}{factor or ''}"
    second = call(capsys, "convert", f"{option}={text}", *BENCH, "--work", work, "--json").json
    assert second["power_fringes"] == pytest.approx(2.5, rel=1e-9)


def test_inches_fractions_and_other_lamps(capsys):
    """Inches and fractions are read, and the same height is shown in another lamp's fringes."""
    values = call(
        capsys,
        "convert",
        "--radius-difference",
        "1/8 in",
        "--radius",
        "120in",
        "--diameter",
        "5 3/4 in",
        "--lamp",
        "sodium",
        "--also",
        "hene",
        "--json",
    ).json
    assert values["radius_difference_mm"] == pytest.approx(3.175)
    assert values["diameter_mm"] == pytest.approx(146.05)
    ratio = values["wavelength_nm"] / 632.816
    assert values["power_fringes_also"]["hene"] == pytest.approx(
        values["power_fringes"] * ratio, rel=1e-5
    )


def test_text_has_the_answer_first(capsys):
    """The first line is the power with its light, aperture and contact."""
    text = call(capsys, "convert", "--gap", "-883.95nm", *BENCH).out
    assert text.splitlines()[0] == "−3 fringes at 589.30 nm over 150 mm: contact at the edge"
    assert "+2.921 mm (+0.09584 %)" in text
    assert "plate 922.8759 µm, work 921.992 µm" in text
    assert "wavefront          3 waves, peak to valley, by one reflection" in text


def test_one_and_none(capsys):
    """One fringe is one, a half may be written as people do, and nothing has no sign."""
    first = call(capsys, "convert", "--fringes", "1", *BENCH).out.splitlines()[0]
    assert first.startswith("+1 fringe at 589.30 nm")
    half = call(capsys, "convert", "--fringes", "½", *BENCH, "--json").json
    assert half["power_fringes"] == pytest.approx(0.5)
    none = call(capsys, "convert", "--percent", "0%", *BENCH).out
    assert none.startswith("0 fringes")
    assert "radius difference  0 mm (0 %)" in none
    assert "-" not in none


def test_per_cent_signs_and_commas(capsys):
    """A percentage may carry its sign, and a decimal comma."""
    plain = call(capsys, "convert", "--percent", "0.1", *BENCH, "--json").json
    assert call(capsys, "convert", "--percent", "0,1 %", *BENCH, "--json").json == plain


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((*BENCH,), "give one of --fringes"),
        (("--fringes", "1,500", *BENCH), "write 1.500 or 1500"),
        (("--fringes", "1e9", *BENCH), "no sphere is 1e+09 fringes"),
        (("--work-radius", "50mm", *BENCH), "smaller than half the aperture"),
        (("--fringes", "1", *BENCH[:4], "--wavelength", "589"), "write for example 589nm"),
        (("--fringes", "1", "--percent", "1", *BENCH), "give one of --fringes"),
        (("--fringes", "nan", *BENCH), "not a number"),
        (("--fringes", "1", *BENCH[:4]), "one light"),
        (("--fringes", "1", *BENCH, "--lamp", "sodium"), "one light"),
        (("--fringes", "1", *BENCH[:4], "--wavelength", "5mm"), "not light"),
        (("--radius-difference", "3", *BENCH), "no unit"),
        (("--sagitta", "-2mm", *BENCH), "not a sphere"),
        (("--fringes", "1", "--radius", "60mm", *BENCH[2:]), "smaller than half the aperture"),
        (("--fringes", "1", "--radius", "-60mm", *BENCH[2:]), "greater than zero"),
        (("--fringes", "1", "--lamp", "sun", *BENCH[:4]), "no lamp named"),
    ],
)
def test_nonsense(words, message, capsys):
    """Numbers that are missing, double or impossible get one clear line."""
    assert message in refused(capsys, "convert", *words)


def test_starts_light():
    """Converting loads no numpy and nothing that is heavier."""
    modules = loaded("convert", "--fringes", "2", *BENCH[:4], "--lamp", "sodium")
    assert modules & HEAVY == set()
