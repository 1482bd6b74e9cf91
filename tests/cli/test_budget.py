"""`fringe budget`: where a session's uncertainty comes from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calling import call, refused
from fringe.archive.instruments import add_instrument
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.orders.reading import Quality, Reading

# what random draws say is looked at where they are the claim; elsewhere they only take time
QUICK = ("--trials", "0")
PARTS = {"fit": 0.05, "edge": 0.12, "view": 0.02}


def logged(power: float, sense: str = "centre") -> LoggedReading:
    reading = Reading(
        589.194,
        Quality(0.8, 0.9, 0.1),
        power_fringes=power,
        power_u95_fringes=0.26,
        sense=sense,
        power_u_parts=PARTS,
    )
    return LoggedReading(reading, lamp=lamp("sodium"))


@pytest.fixture
def surface(tmp_path: Path) -> Surface:
    """Add a convex surface with a tolerance of 2.9 fringes to an archive."""
    return add_surface(
        tmp_path / "shop",
        Surface(
            "convex 1",
            "convex",
            3048.0,
            150.0,
            plate=Plate("P7", 3048.0, 0.3),
            tolerance=Tolerance(2.9, wavelength_nm=589.3),
            lamp="sodium",
            glass="borosilicate",
        ),
    )


@pytest.fixture
def session(surface: Surface) -> Path:
    """Log a visit with three readings."""
    return log_visit(surface, Visit(readings=(logged(2.6), logged(2.7), logged(2.65))))


def test_results_rows_and_shares(session, capsys):
    """Power, radius difference and radius: each with its inputs, whose shares add up to one."""
    values = call(capsys, "budget", session, "--json").json
    assert [one["name"] for one in values["results"]] == [
        "power",
        "radius difference",
        "work radius",
    ]
    for one in values["results"]:
        assert sum(row["share"] for row in one["rows"]) == pytest.approx(1.0)
        assert one["monte_carlo"]["agrees"]
    power = values["results"][0]
    by_name = {row["input"]: row for row in power["rows"]}
    assert power["value"] == pytest.approx(2.65)
    assert by_name["edge"]["u"] == pytest.approx(0.12)
    assert by_name["repeatability"]["dof"] == 2
    light = 2.65 * lamp("sodium").u_wavelength_nm / 589.194
    expected = np.sqrt(0.05**2 + 0.12**2 + 0.02**2 + 0.05**2 / 3 + light**2)
    assert power["u"] == pytest.approx(expected)
    radius = values["results"][2]
    assert {row["input"]: row["u"] for row in radius["rows"]}["plate radius"] == 0.3


def test_bench_options(session, capsys):
    """Temperature and plate form come in, and the glass is the surface's own."""
    values = call(
        capsys,
        "budget",
        session,
        *QUICK,
        "--axial-u",
        "0.1",
        "--thickness",
        "25mm",
        "--plate-form-u",
        "20nm",
        "--diameter-u",
        "0.1mm",
        "--pieces-u",
        "0.2",
        "--json",
    ).json
    by_name = {row["input"]: row["u"] for row in values["results"][1]["rows"]}
    assert by_name["temperature"] == pytest.approx(
        3.25e-6 * 0.1 * 150**2 / (8 * 25) * 2e6 / 589.194
    )
    assert by_name["plate form"] == pytest.approx(40 / 589.194)
    assert by_name["diameter"] == 0.1
    assert by_name["temperature, pieces"] == pytest.approx(3048 * 3.25e-6 * 0.2)


def test_unproven_says_what_settles_it(session, capsys):
    """With more uncertainty the verdict is unproven, and the input to better is named."""
    words = (
        "budget",
        session,
        *QUICK,
        "--axial-u",
        "0.1",
        "--thickness",
        "25mm",
        "--plate-form-u",
        "20nm",
    )
    values = call(capsys, *words, "--json").json
    assert values["verdict"]["state"] == "unproven"
    first = values["settles"]["suggestions"][0]
    assert (first["input"], first["advice"]) == ("temperature", "wait until the glass has settled")
    text = call(capsys, *words).out
    assert "to settle it" in text
    assert "verdict            unproven (" in text
    assert "better temperature and edge" in text
    assert call(capsys, "budget", session, *QUICK, "--json").json["verdict"]["state"] == "inside"


def test_by_surface_and_number(surface, session, capsys):
    """A surface's last session that measured is taken, or the one of a number."""
    log_visit(surface, Visit(readings=(logged(1.0),)))
    log_visit(surface, Visit(remarks="nothing read"))
    name = str(surface.folder.parent / "convex 1")
    assert call(capsys, "budget", name, *QUICK, "--json").json["results"][0]["value"] == 1.0
    first = call(capsys, "budget", name, *QUICK, "1", "--json").json
    assert first["results"][0]["value"] == pytest.approx(2.65)


def test_table(session, capsys):
    """The table fits the terminal, largest share first, and one result can be asked for."""
    text = call(capsys, "budget", session, "--result", "power").out
    lines = text.splitlines()
    # half-widths in squares: 1.96 x 0.1315 of the readings, 4.303 x 0.0289 of their scatter
    assert lines[0] == "power +2.65 ± 0.29 fringes (95 %)"
    assert "standard u" in lines[1]
    assert "± 95 %" in lines[1]
    assert lines[2].split()[0] == "edge"
    assert lines[3].split()[0] == "fit"
    assert "work radius" not in text
    assert all(len(line) <= 84 for line in lines)


def test_correlation(session, capsys):
    """The results' correlation: radius difference is power's, the radius mostly the plate's."""
    values = call(capsys, "budget", session, *QUICK, "--json").json
    found = values["correlation"]
    assert found["names"] == ["power", "radius difference", "work radius"]
    matrix = np.array(found["matrix"])
    np.testing.assert_allclose(matrix, matrix.T)
    np.testing.assert_allclose(np.diag(matrix), 1.0)
    # analytic: the radius is the plate's plus the difference
    step, radius = values["results"][1:]
    # of a convex work power and radius difference have opposite signs
    assert matrix[0, 1] < -0.99
    assert matrix[1, 2] == pytest.approx(step["u"] / radius["u"], rel=0.01)
    one = call(capsys, "budget", session, *QUICK, "--result", "power", "--json").json
    assert one["correlation"] == {"names": ["power"], "matrix": [[1.0]]}


def test_picture(session, tmp_path, capsys):
    """The picture is a PNG, and nothing else is left beside it."""
    path = tmp_path / "pictures" / "budget.png"
    path.parent.mkdir()
    assert call(capsys, "budget", session, *QUICK, "--picture", path).status == 0
    with Image.open(path) as picture:
        assert picture.format == "PNG"
        assert picture.width > 1000
    assert [one.name for one in path.parent.iterdir()] == ["budget.png"]


def test_spherometer_of_a_session(surface, capsys):
    """Spherometer readings of plate and work have their budgets, with ring, balls and zero."""
    geometry = {
        "foot_circle_mm": 140.0,
        "ball_diameter_mm": 6.35,
        "u_size_mm": 0.02,
        "u_ball_diameter_mm": 0.002,
        "u_reading_um": 0.5,
    }
    zero = np.array([0.0])
    readings = tuple(
        LoggedSpherometer(piece, np.array(heights), zero, geometry)
        for piece, heights in (("plate", [0.806, 0.8062]), ("work", [0.8025, 0.803]))
    )
    path = log_visit(surface, Visit(spherometers=readings))
    results = {one["name"]: one for one in call(capsys, "budget", path, "--json").json["results"]}
    assert set(results) == {
        f"spherometer, {name}" for name in ("depth", "power", "work radius", "radius difference")
    }
    names = {row["input"] for row in results["spherometer, work radius"]["rows"]}
    assert {"zero", "plate reading", "work reading", "ball size", "plate radius"} <= names
    assert "repeatability, work" in names
    assert all(one["monte_carlo"]["agrees"] for one in results.values())


def test_gauge_drift_of_a_visit(surface, capsys):
    """What the gauge drifted by the day of the visit has its row, and stays with the visit."""
    shop = surface.folder.parent
    gauge = {"foot_circle_mm": 140.0, "u_reading_um": 0.5, "calibrated": "2024-01-01"}
    add_instrument(shop, "spherometer", "points", {**gauge, "u_drift_um_per_year": 0.4})
    name = shop / "convex 1"
    sags = ("--sag-plate", "805,806um", "--sag-work", "802;803 um", "--spherometer", "points")
    assert call(capsys, "log", name, *sags, "--when", "2026-01-01T09:00").status == 0
    # the record may change later; what was used is in the session
    add_instrument(shop, "spherometer", "points", gauge, replace=True)
    values = call(capsys, "budget", name, *QUICK, "--result", "spherometer, depth", "--json").json
    rows = {row["input"]: row for row in values["results"][0]["rows"]}
    assert rows["gauge drift"]["u"] == pytest.approx(0.4e-3 * 731 / 365.25)
    # analytic: one deeper and one shallower, by the same
    assert rows["gauge drift"]["contribution"] == pytest.approx(2 * 0.8004, rel=0.01)
    assert rows["plate reading"]["value"] == pytest.approx(0.8055)
    later = call(capsys, "log", name, *sags, "--when", "2027-01-01T09:00", "--yes").out
    assert "2024-01-01, 3 years before" in " ".join(later.split())


def test_plate_form_of_the_record(surface, session, capsys):
    """The plate's form comes from the record that the session keeps, into budget and verdict."""
    record = {
        "kind": "plate",
        "name": "P7",
        "form": "concave",
        "radius_mm": 3048.0,
        "u_form_nm": 29.4597,
    }
    path = log_visit(surface, Visit(readings=(logged(2.65),), instruments={"plate": record}))
    power = call(capsys, "budget", path, *QUICK, "--json").json["results"][0]
    assert {row["input"]: row["u"] for row in power["rows"]}["plate form"] == pytest.approx(0.1)
    given = call(capsys, "budget", path, *QUICK, "--plate-form-u", "58.9194nm", "--json").json[
        "results"
    ]
    assert {row["input"]: row["u"] for row in given[0]["rows"]}["plate form"] == pytest.approx(0.2)
    measured = open_session(path).summary.measured[0]
    assert measured.power_u_fringes == pytest.approx(np.hypot(0.131529, 0.1), rel=1e-5)


def test_radius_of_a_work_on_another_piece(surface, capsys):
    """On a piece whose radius this record does not know, the difference is told, no radius."""
    reading = replace(logged(0.5), against="concave 1", options={"plate_radius_mm": 3048.0})
    path = log_visit(surface, Visit(readings=(reading,)))
    values = call(capsys, "budget", path, *QUICK, "--json").json
    assert [one["name"] for one in values["results"]] == [
        "on concave 1, power",
        "on concave 1, radius difference",
    ]
    assert "hangs on concave 1's" in values["notes"][0]
    assert "! the work's radius hangs on concave 1's" in call(capsys, "budget", path, *QUICK).out


@pytest.mark.parametrize(
    ("plate", "names", "words"),
    [
        (Plate("P7"), 2, "no radius of the plate is on record"),
        (Plate("P7", 3048.0), 3, "taken as exact: no uncertainty is on record"),
    ],
)
def test_radius_by_a_plate_that_is_little_known(plate, names, words, tmp_path, capsys):
    """Without the plate's radius the work's stays open; without its uncertainty that is said."""
    surface = add_surface(
        tmp_path / "shop", Surface("convex 2", "convex", 3048.0, 150.0, plate=plate)
    )
    path = log_visit(surface, Visit(readings=(logged(0.5),)))
    values = call(capsys, "budget", path, *QUICK, "--json").json
    assert len(values["results"]) == names
    assert words in values["notes"][0]
    assert (
        call(capsys, "budget", path, *QUICK, "--plate-radius-u", "1mm").out.count("! ") == 3 - names
    )


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("@", "--result", "luck"), "there are power"),
        (("@", "--axial-u", "-1"), "cannot be negative"),
        (("@", "--axial-u", "0.1"), "thickness"),
        (("@", "--glass", "jelly"), "no glass named"),
        (("@", "--picture", "budget.svg"), "must end in .png"),
        (("@", "--picture", "/nowhere/budget.png"), "there is no folder"),
        (("gone.h5",), "no such surface"),
    ],
)
def test_nonsense(words, message, session, capsys):
    """What cannot be gets one clear line."""
    typed = [str(session) if word == "@" else word for word in words]
    assert message in refused(capsys, "budget", *QUICK, *typed)


def test_session_without_measurement(surface, capsys):
    """A session in which nothing was measured has no budget."""
    path = log_visit(surface, Visit(remarks="only looked"))
    assert "neither fringes nor a spherometer" in refused(capsys, "budget", path, *QUICK)
