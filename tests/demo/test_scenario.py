"""The scenario holds together: what was written down follows from what it calls the truth."""

from __future__ import annotations

import itertools
import math
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from example_readings import truth_of, visits
from fringe.archive.instruments import spherometer_from_record
from fringe.cli import main
from fringe.demo.photographs import photograph_scene, true_power_fringes
from fringe.demo.scenario import PhotographSpec, SurfaceSpec, VisitSpec, load_scenario
from fringe.errors import BadInput
from fringe.judge.spherometer.compare import SpherometerReadings, compare
from fringe.optics.lamps import lamp
from fringe.optics.spherometer import other_form, reading_from_radius_mm
from fringe.optics.thermal import bending_nm, glass
from fringe.synth.rendering import render

SCENARIO = load_scenario()
VISITS = visits(SCENARIO)
PHOTOGRAPHS = [(s, v, one) for s, v in VISITS for one in v.photographs]
NAMES = [one.file for _, _, one in PHOTOGRAPHS]


@pytest.mark.parametrize(("surface", "visit", "photograph"), PHOTOGRAPHS, ids=NAMES)
def test_power_of_a_photograph_follows_from_the_radii(
    surface: SurfaceSpec, visit: VisitSpec, photograph: PhotographSpec
) -> None:
    """(analytic) To first order N = 2 dR (1 - cos t) / lambda, plus what warmth adds."""
    truth = truth_of(SCENARIO.photograph(photograph))
    plate, work = SCENARIO.true_plate_radius_mm(surface), visit.truth.radius_mm
    rise = plate - math.sqrt(plate**2 - (surface.diameter_mm / 2) ** 2)
    convex_is_stronger = work - plate if surface.form == "concave" else plate - work
    light = lamp(visit.lamp or surface.lamp).wavelength_nm * 1e-6
    warm = visit.truth.warm_fringes * math.exp(-photograph.after_minutes / visit.truth.warm_minutes)
    expected = 2 * convex_is_stronger * rise / plate / light + warm
    assert truth["power_fringes"] == pytest.approx(expected, rel=0.005, abs=1e-4)
    assert truth["wavelength_nm"] == pytest.approx(light * 1e6)
    # the spherical term is orthogonal to a parabola, and to the sphere but for (r/R)^2 of itself
    leaning = abs(visit.truth.form["spherical"]) * (surface.diameter_mm / 2 / plate) ** 2
    asked = true_power_fringes(SCENARIO, surface, visit, photograph)
    assert truth["power_fringes"] == pytest.approx(asked, abs=leaning)


@pytest.mark.parametrize(("surface", "visit", "photograph"), PHOTOGRAPHS, ids=NAMES)
def test_the_sense_that_was_written_down_is_true(
    surface: SurfaceSpec, visit: VisitSpec, photograph: PhotographSpec
) -> None:
    """Where the person says where the contact is, it is there."""
    assert visit.sense in ("auto", truth_of(SCENARIO.photograph(photograph))["sense"])


def test_a_photograph_is_what_the_scenario_renders(rng: np.random.Generator) -> None:
    """A shipped photograph and its truth come back from the scenario, whichever is drawn."""
    surface, visit, photograph = PHOTOGRAPHS[rng.integers(len(PHOTOGRAPHS))]
    made = render(photograph_scene(SCENARIO, surface, visit, photograph), photograph.seed)
    path = SCENARIO.photograph(photograph)
    truth = truth_of(path)
    assert truth["noise_seed"] == made.truth["noise_seed"]
    assert truth["edge"] == pytest.approx(made.truth["edge"])
    shipped = np.asarray(Image.open(path), float)
    # the compression of quality 92 takes about a grey level; another scene would be tens away
    assert np.abs(shipped - made.image).mean() < 2


@pytest.mark.parametrize("name", NAMES)
def test_photographs_are_small_and_of_a_cameras_shape(name: str) -> None:
    """Each photograph is a JPEG of 900 to 1400 pixels that adds little to an installation."""
    path = SCENARIO.folder / "photographs" / name
    with Image.open(path) as picture:
        assert picture.format == "JPEG"
        assert 900 <= picture.width <= 1400
    assert path.stat().st_size < 250_000


def test_no_photograph_lies_about_unused() -> None:
    """The folder holds the scenario's photographs and their truths, and nothing else."""
    folder = SCENARIO.folder / "photographs"
    files = {path.name for path in folder.iterdir()}
    assert files == {*NAMES, *(Path(name).with_suffix(".json").name for name in NAMES)}


SPHEROMETER = [(surface, visit) for surface, visit in VISITS if visit.work_mm]


@pytest.mark.parametrize(("surface", "visit"), SPHEROMETER)
def test_spherometer_readings_fit_the_true_radii(surface: SurfaceSpec, visit: VisitSpec) -> None:
    """Plate and work read what their true radii give, within 3.3 standard uncertainties."""
    one = spherometer_from_record(SCENARIO.spherometer)
    size, ball = one.contact_mm(surface.form), one.ball_radius_mm
    plate = SCENARIO.true_plate_radius_mm(surface)
    expected = 1000 * (
        reading_from_radius_mm(visit.truth.radius_mm, size, surface.form, ball)
        - reading_from_radius_mm(plate, size, surface.form, ball)
    )
    said = compare(
        SpherometerReadings(visit.plate_mm, visit.work_mm, u_reading_mm=one.u_reading_mm or 0.0),
        surface.form,
        spherometer=one,
        plate_radius_mm=plate,
        u_plate_radius_mm=0.15,
    )
    assert said.depth_um.value == pytest.approx(expected, abs=3.3 * said.depth_um.u)
    height = reading_from_radius_mm(plate, size, other_form(surface.form), ball)
    assert np.mean(visit.plate_mm) == pytest.approx(height, abs=0.001)


def test_grinding_and_polishing_move_the_radius_as_they_do() -> None:
    """Common practice: with the work on top it turns concave, else convex; without work, never."""
    for surface in SCENARIO.surfaces:
        radii = [visit.truth.radius_mm for visit in surface.visits]
        for before, after, visit in zip(radii, radii[1:], surface.visits[1:], strict=False):
            flatter = after - before if surface.form == "convex" else before - after
            if visit.on_top is None:
                assert after == before
            else:
                assert (flatter > 0) == (visit.on_top == "work")


def test_visits_are_in_their_order() -> None:
    """Time goes on from visit to visit, and the work done fits in between."""
    for (_, one), (_, other) in itertools.pairwise(VISITS):
        assert (other.when - one.when).total_seconds() / 60 >= (other.minutes or 0)


def test_the_warmth_that_bends_the_convex_is_one_that_a_lap_makes() -> None:
    """(analytic) The bending of the warm visit needs less than a kelvin through the disc."""
    surface, visit = next((s, v) for s, v in VISITS if v.truth.warm_fringes)
    per_kelvin = bending_nm(glass(surface.glass).expansion_per_k, 1.0, surface.diameter_mm, 25.0)
    kelvin = visit.truth.warm_fringes * lamp(surface.lamp).wavelength_nm / 2 / per_kelvin
    assert 0.3 < kelvin < 1.0


def test_true_radii_lie_where_the_certificate_says() -> None:
    """The plate's true radius lies within two standard uncertainties of its certificate."""
    said = SCENARIO.plate
    assert abs(SCENARIO.plate_true_radius_mm - said["radius_mm"]) < 2 * said["u_radius_mm"]


def rounded(value: Any) -> Any:
    """Leave out the digits that hang on the order in which a processor adds up."""
    if isinstance(value, float):
        return float(f"{value:.10g}")
    if isinstance(value, dict):
        return {key: rounded(one) for key, one in value.items()}
    return [rounded(one) for one in value] if isinstance(value, list) else value


def test_rendering_again_writes_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`fringe demo --render` writes photographs with the truth that lies beside the shipped."""
    last_visits = [replace(one, visits=one.visits[-1:]) for one in SCENARIO.surfaces]
    short = replace(SCENARIO, surfaces=tuple(last_visits))
    monkeypatch.setattr("fringe.demo.scenario.load_scenario", lambda: short)
    with pytest.raises(SystemExit, match="0"):
        main(["demo", "--render", str(tmp_path / "new")])
    written = capsys.readouterr().out.split()
    assert [Path(name).name for name in written] == ["convex-10.jpg", "concave-06.jpg"]
    for name in written:
        shipped = truth_of(SCENARIO.folder / "photographs" / Path(name).name)
        assert rounded(truth_of(Path(name))) == rounded(shipped)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('radius = "3048.19mm"', 'radius = "3048.19"', "has no unit"),
        ('system = "train.toml"', "", "system is missing"),
        ("[plate]", "[plate", "no TOML"),
        ("2026-09-07T09:10+02:00", "on Monday", "on Monday"),
    ],
)
def test_a_slip_in_the_scenario_is_one_line(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    """A scenario that cannot be understood is refused in one line that names its file."""
    text = (SCENARIO.folder / "scenario.toml").read_text(encoding="utf-8")
    assert before in text
    path = tmp_path / "scenario.toml"
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(BadInput, match=said) as error:
        load_scenario(path)
    assert "\n" not in str(error.value)


def test_a_missing_scenario_is_one_line(tmp_path: Path) -> None:
    """Without the file, its name is told."""
    shutil.rmtree(tmp_path)
    with pytest.raises(BadInput, match=r"scenario\.toml: cannot be read"):
        load_scenario(tmp_path / "scenario.toml")
