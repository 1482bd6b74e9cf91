"""What `fringe log` keeps beside photographs: spherometer, eye, other plates, the work done."""

from __future__ import annotations

import dataclasses
import json

import pytest

from calling import call
from fringe.archive.instruments import add_instrument
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import Surface, add_surface
from fringe.cli import main
from sample_visits import SAGS


def test_a_spherometer(run, surface):
    """Spherometer readings alone: which is deeper, power and radius difference, and a next step.

    The trade's facts: 793 where the plate reads 808 is too shallow by 15 (common practice).
    """
    code, out, err = run(*SAGS, "--stage", "#400", "--minutes", "25", "--on-top", "tool")
    assert (code, err) == (0, "")
    assert "The work is too shallow by 15.0 ± 2.8 µm" in out
    assert "#400: grains of 17.3 µm (F400: from memory)" in out
    assert "! each reading is taken as good to ±1 µm" in out
    (session,) = list_sessions(surface.folder)
    (measured,) = session.measured
    assert measured.source == "spherometer"
    assert measured.sense == "centre"  # a concave too shallow has the larger radius
    assert measured.radius_difference_mm > 0
    visit = open_session(session.place).visit
    assert [one.piece for one in visit.spherometers] == ["plate", "work"]
    assert visit.spherometers[0].height_mm.tolist() == [0.808, 0.808]
    assert visit.spherometers[1].zero_mm.tolist() == [0.0]
    assert visit.inputs["sag_plate"] == [["808um", "808um"]]


def test_the_spherometer_agrees_with_sag(run, surface):
    """What is logged is what `fringe sag` says of the same readings, to the last digit."""
    values = json.loads(run(*SAGS, "--reading-u", "1um", "--json")[1])["spherometer"]
    with pytest.raises(SystemExit):
        main(
            [
                "sag",
                "--plate",
                "808um,808um",
                "--work",
                "793um",
                "--zero",
                "0um",
                "--form",
                "concave",
                "--plate-radius",
                "3048.6mm",
                "--plate-radius-u",
                "0.2mm",
                "--diameter",
                "150mm",
                "--wavelength",
                "589.29nm",
                "--reading-u",
                "1um",
                "--json",
            ]
        )
    told = json.loads(run.printed())
    assert values["power_fringes"] == pytest.approx(told["power_fringes"], rel=1e-12)
    assert values["power_u95_fringes"] == pytest.approx(told["power_u95_fringes"], rel=1e-12)
    assert values["work_radius_mm"] == pytest.approx(told["work_radius_mm"], rel=1e-12)


def test_instruments_are_copied(run, photos, surface, tmp_path):
    """The session keeps the records of plate, spherometer, camera and lamp as they were used."""
    shop = tmp_path / "shop"
    add_instrument(
        shop,
        "spherometer",
        "balls",
        {"foot_circle_mm": 140.0, "ball_diameter_mm": 6.35, "u_reading_um": 0.3},
    )
    add_instrument(shop, "plate", "plate 7", {"form": "convex", "radius_mm": 3048.6})
    add_instrument(shop, "camera", "overhead", {"distance_mm": 900.0, "scale_px_per_mm": 5.0})
    add_instrument(
        shop,
        "lamp",
        "arc",
        {"lines": [{"wavelength_nm": 546.07, "weight": 1.0}], "source": "label"},
    )
    sags = ("--sag-plate", "806um", "--sag-work", "800um")
    code, _, err = run(
        *photos("1.0.jpg"), *sags, "--spherometer", "balls", "--camera", "overhead", "--lamp", "arc"
    )
    assert (code, err) == (0, "")
    add_instrument(shop, "plate", "plate 7", {"form": "convex", "radius_mm": 1.0}, replace=True)
    visit = open_session(list_sessions(surface.folder)[0].place).visit
    assert {kind: one["name"] for kind, one in visit.instruments.items()} == {
        "plate": "plate 7",
        "spherometer": "balls",
        "camera": "overhead",
        "lamp": "arc",
    }
    assert visit.instruments["plate"]["radius_mm"] == 3048.6
    assert visit.spherometers[0].geometry["foot_circle_mm"] == 140.0
    assert visit.spherometers[0].options["u_reading_mm"] == pytest.approx(0.0003)
    assert visit.readings[0].options["camera_distance_mm"] == 900.0
    assert photos.reader.options.scale_px_per_mm == 5.0


def test_a_budget_of_what_was_logged(run, photos, surface):
    """`fringe budget` opens what `fringe log` wrote: fringes and spherometer, each by itself."""
    run(*photos("3.5.jpg"), *SAGS)
    with pytest.raises(SystemExit) as stop:
        main(["budget", "shop/concave 1", "--json", "--trials", "0"])
    assert not stop.value.code
    names = [one["name"] for one in json.loads(run.printed())["results"]]
    assert {"power", "radius difference", "spherometer, depth", "spherometer, power"} <= set(names)


def test_the_spell_of_work(run, surface):
    """Everything that is said of a spell of work comes back from the session."""
    code, _, err = run(
        "--stage",
        "9 um",
        "--minutes",
        "20",
        "--on-top",
        "tool",
        "--stroke",
        "a third",
        "--lap",
        "pitch 120",
        "--pressure",
        "4 kg",
        "--slurry",
        "thin",
        "--removed",
        "12um",
        "--pits",
        "gone",
    )
    assert (code, err) == (0, "")
    work = list_sessions(surface.folder)[0].work
    assert dataclasses.asdict(work) == {
        "stage": "9 um",
        "minutes": 20.0,
        "on_top": "tool",
        "stroke": "a third",
        "lap": "pitch 120",
        "pressure": "4 kg",
        "slurry": "thin",
        "removed_mm": pytest.approx(0.012),
        "pits": "gone",
        "rested_minutes": None,
        "parts": (),
    }


def test_seen_by_eye(run, surface, capsys):
    """What was seen without a camera is kept as such, and all that follows works with it."""
    seen = "rings 3.5 +-0.2 centre"
    code, out, err = run("--by-eye", seen, "--stage", "polish", "--minutes", "5")
    assert (code, err) == (0, "")
    assert "+3.50 ± 0.24 fringes" in out
    assert "verdict            outside" in out
    (session,) = list_sessions(surface.folder)
    (measured,) = session.measured
    assert (measured.source, measured.power_fringes) == ("eye", 3.5)
    (logged,) = open_session(session.place).visit.readings
    assert (logged.method, logged.options["by_eye"]) == ("eye", seen)
    assert logged.reading.radius_difference_mm > 0
    place = surface.folder
    told = call(capsys, "progress", place, "--json").json["visits"]
    # in the fringes of the tolerance, whose wavelength is 589.29 nm
    power = pytest.approx(3.5 * logged.reading.wavelength_nm / 589.29)
    assert [(row["power_fringes"], row["method"]) for row in told] == [(power, "eye")]
    told = call(capsys, "budget", place, "--json")
    assert (told.status, told.err) == (0, "")
    assert "eye angle" in told.out
    page = place.parent / "page.html"
    assert call(capsys, "report", place, "--out", page).status == 0
    assert "eye angle" in page.read_text("utf-8")


def test_laid_on_another_piece(run, photos, surface, tmp_path):
    """A surface that is read on a partner alone is made to it: its tolerance judges the contact."""
    add_surface(tmp_path / "shop", Surface("convex 1", "convex", 3047.0, 150.0))
    code, out, err = run(*photos("1.0.jpg"), "--against", "convex 1")
    assert (code, err) == (0, "")
    assert "on convex 1" in out
    assert "verdict            inside" in out
    assert photos.reader.options.plate_radius_mm == 3047.0
    (measured,) = list_sessions(surface.folder)[0].measured
    assert measured.against == "convex 1"


def test_a_smaller_plate(run, photos, surface):
    """A plate smaller than the work: read over its own circle, carried to the whole aperture.

    Analytic: over a sphere power grows as the square of the diameter.
    """
    code, out, err = run(
        *photos("1.0.jpg", "1.02.jpg"),
        "--aperture",
        "75mm",
        "--place",
        "0mm,0mm",
        "--place",
        "36mm,0mm",
    )
    assert (code, err) == (0, "")
    assert "over 75 mm at 36, 0 mm" in out
    assert photos.reader.options.diameter_mm == 75.0
    (session,) = list_sessions(surface.folder)
    (measured,) = session.measured
    assert measured.power_fringes == pytest.approx(4.05, abs=0.05)
    logged = open_session(session.place).visit.readings
    assert [(one.aperture_mm, one.place_mm) for one in logged] == [
        (75.0, (0.0, 0.0)),
        (75.0, (36.0, 0.0)),
    ]
