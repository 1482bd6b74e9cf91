"""One photograph and one record: one uncertainty, one probability, one verdict, whoever says it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calling import call
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.views.one_reading import judged_reading, reading_measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.optics.spheres import power_fringes, radius_difference_mm
from fringe.orders.from_fit import with_lengths
from fringe.orders.options import ReadOptions
from fringe.orders.reading import FormFit, Quality, Reading
from fringe.quantity import half_width
from fringe.show.reports.surface_report import own_readings
from fringe.student_t import coverage_factor

LED = "led:590:16"
PARTS = {"fit": 0.01, "edge": 0.02, "view": 0.01}
POWER, U_FORM_NM, RADIUS_MM, DIAMETER_MM = 5.7, 5.0, 100.0, 160.0
CHAMFER_MM, U_DIAMETER_MM = 0.25, 0.05  # twice a tenth of the chamfer


def seen(options: ReadOptions) -> Reading:
    """What the photograph shows: 5.7 fringes with contact at the centre of a steep plate."""
    terms = ((0, 0), (2, 0), (4, 0))
    form = FormFit(terms, np.array([2.85, 2.85, 0.02]), np.diag([1e-6, 1e-6, 1e-6]))
    reading = Reading(
        options.lamp.wavelength_nm,
        Quality(0.8, 0.9, 0.05),
        power_fringes=POWER,
        power_u95_fringes=half_width(math.hypot(*PARTS.values())),
        sense="centre",
        irregularity_fringes=0.03,
        irregularity_u95_fringes=0.01,
        form=form,
        power_u_parts=PARTS,
        reading_id="a photograph",
    )
    return with_lengths(reading, options)


@pytest.fixture
def surface(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Surface:
    """A steep concave on a plate whose form is on record, and a photograph of it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "rings.jpg").write_bytes(b"a photograph")
    for place in ("fringe.photo.load", "fringe.archive.views.watching"):
        monkeypatch.setattr(f"{place}.load_photo", lambda path, **_: path)
    for place in ("fringe.orders.read", "fringe.archive.views.watching"):
        monkeypatch.setattr(f"{place}.read", lambda _, options: seen(options))
    monkeypatch.setattr(
        "fringe.archive.views.photographs.read_kept", lambda _, options: seen(options)
    )
    made = add_surface(
        tmp_path / "shop",
        Surface(
            "cc",
            "concave",
            RADIUS_MM,
            DIAMETER_MM,
            plate=Plate("P7", RADIUS_MM, 0.05),
            tolerance=Tolerance(5.74, 0.3, wavelength_nm=590.0),
            lamp=LED,
            chamfer_mm=CHAMFER_MM,
        ),
    )
    words = ("instrument", "add", "plate", "shop", "P7", "--form", "convex", "--radius", "100mm")
    assert call_status(*words, "--radius-u", "0.05mm", "--form-u", f"{U_FORM_NM}nm") == 0
    return made


def call_status(*words: str) -> int:
    """Run a command for what it does."""
    from fringe.cli import main

    with pytest.raises(SystemExit) as stop:
        main(list(words))
    return int(stop.value.code or 0)


def expected_u() -> tuple[float, float]:
    """Standard uncertainties of power [fringe] and radius difference [mm] (analytic).

    Fit, edge and view, the plate's form, and the wavelength; the radius difference with the
    slopes of the exact spheres.
    """
    light = lamp(LED)
    share = light.u_wavelength_nm / light.wavelength_nm
    counted = math.hypot(*PARTS.values(), 2 * U_FORM_NM / light.wavelength_nm)
    shape = (RADIUS_MM, DIAMETER_MM, light.wavelength_nm, "concave")
    step = radius_difference_mm(POWER, *shape)
    slope = (power_fringes(step + 1e-5, *shape) - power_fringes(step - 1e-5, *shape)) / 2e-5
    a_radius = radius_difference_mm(POWER, RADIUS_MM + 0.05, *shape[1:]) - step
    return (
        math.hypot(counted, POWER * share),
        math.hypot(counted / slope, share * POWER / slope, a_radius, a_diameter()),
    )


def a_diameter() -> float:
    """What the diameter's uncertainty makes of the radius difference [mm] (analytic)."""
    steps = [
        radius_difference_mm(POWER, RADIUS_MM, size, lamp(LED).wavelength_nm, "concave")
        for size in (DIAMETER_MM, DIAMETER_MM + U_DIAMETER_MM)
    ]
    return steps[1] - steps[0]


def stated() -> ReadOptions:
    """What the surface's record says of a photograph."""
    return ReadOptions(
        lamp(LED),
        diameter_mm=DIAMETER_MM,
        u_diameter_mm=U_DIAMETER_MM,
        chamfer_mm=CHAMFER_MM,
        plate_radius_mm=RADIUS_MM,
        work="concave",
    )


def test_everybody_says_the_same(surface: Surface, capsys: pytest.CaptureFixture[str]) -> None:
    """Log, watch, budget, progress, the page's judge and the report's session: one U each."""
    told: dict[str, tuple[float, float]] = {}
    verdicts: dict[str, tuple[str, float]] = {}

    def add(name: str, row: dict[str, Any], verdict: dict[str, Any], state: str = "state") -> None:
        told[name] = (row["power_u95_fringes"], row["radius_difference_u95_mm"])
        verdicts[name] = (verdict[state], verdict["probability"])

    watch = ("watch", "in", "--surface", "shop/cc", "--still", "0", "--once", "--json")
    one = json.loads(call(capsys, *watch).out.splitlines()[-1])
    add("watch", one, one["verdict"])
    row = call(capsys, "log", "shop/cc", "in/rings.jpg", "--json").json
    add("log", row, row, "verdict")
    row = call(capsys, "progress", "shop/cc", "--json").json
    add("progress", row["visits"][-1], row["visits"][-1], "verdict")
    values = call(capsys, "budget", "shop/cc", "--json", "--trials", "0").json
    power, step, _ = values["results"]
    names = {"power_u95_fringes": power["u95"], "radius_difference_u95_mm": step["u95"]}
    add("budget", names, values["verdict"])
    options = stated()
    page, judged = judged_reading(surface, reading_measured(surface, seen(options), options))
    assert page is not None
    assert judged is not None
    add("page", page.to_json(), judged.to_json())
    assert surface.folder is not None
    (session,) = list_sessions(surface.folder)
    (report,) = own_readings(open_session(session.place))
    add("report", report.reading.to_json(), judged.to_json())
    parts = report.reading.power_u_parts
    assert math.hypot(*parts.values()) == pytest.approx(expected_u()[0], rel=1e-6)

    u_power, u_step = expected_u()
    for name, (power_u95, step_u95) in told.items():
        assert power_u95 == pytest.approx(coverage_factor() * u_power, rel=2e-4), name
        assert step_u95 == pytest.approx(coverage_factor() * u_step, rel=2e-4), name
    states, chances = zip(*verdicts.values(), strict=True)
    assert set(states) == {"unproven"}, verdicts
    assert chances == pytest.approx([chances[0]] * len(chances), rel=1e-6), verdicts


def test_read_differs_by_what_only_the_record_knows(
    surface: Surface, capsys: pytest.CaptureFixture[str]
) -> None:
    """`read` states its own parts, and of the radius difference the slope and the wavelength."""
    words = ("--diameter", "160.5mm", "--chamfer", "0.25mm", "--plate-radius", "100mm")
    work = ("--work", "concave", "--json")
    values = call(capsys, "read", "in/rings.jpg", "--lamp", LED, *words, *work).json
    own = math.hypot(*PARTS.values())
    light = lamp(LED)
    share = light.u_wavelength_nm / light.wavelength_nm
    shape = (RADIUS_MM, DIAMETER_MM, light.wavelength_nm, "concave")
    step = radius_difference_mm(POWER, *shape)
    slope = (power_fringes(step + 1e-5, *shape) - power_fringes(step - 1e-5, *shape)) / 2e-5
    assert values["power_u95_fringes"] == pytest.approx(1.959964 * own, rel=1e-6)
    assert values["radius_difference_u95_mm"] == pytest.approx(
        1.959964 * math.hypot(own / slope, share * POWER / slope, a_diameter()), rel=1e-4
    )


def test_the_pair_has_the_same_power(surface: Surface, capsys: pytest.CaptureFixture[str]) -> None:
    """The contact on the plate enters the pair with its own parts; what is shared is apart."""
    add_surface(
        Path("shop"),
        Surface("cx", "convex", RADIUS_MM, DIAMETER_MM, plate=Plate("P8", RADIUS_MM, 0.05)),
    )
    call(capsys, "log", "shop/cc", "in/rings.jpg", "--stage", "polish", "--json")
    call(capsys, "log", "shop/cc", "--by-eye", "rings 5.5 +- 0.1 centre", "--json")
    evidence = call(capsys, "pair", "shop/cx", "shop/cc", "--contact-u", "0", "--json").json[
        "evidence"
    ]
    by_name = {one["name"]: one for one in evidence}
    photograph, eye = (one for name, one in by_name.items() if name.startswith("cc on P7"))
    assert photograph["u"] == pytest.approx(math.hypot(*PARTS.values()), rel=1e-6)
    assert photograph["value"] == POWER
    assert eye["value"] == 5.5
    shared = {name for name, one in by_name.items() if one["kind"] == "shared"}
    assert shared == {f"wavelength of {LED}", "plate form of P7"}


@pytest.mark.parametrize(
    ("fault", "part"),
    [({"u_form_nm": 0.0}, 0), ({"u_wavelength_nm": 0.0}, 0)],
)
def test_each_source_counts(surface: Surface, fault: dict[str, float], part: int) -> None:
    """Without the plate's form, or the wavelength, the uncertainty would be seen to be less."""
    from fringe.archive.store.bench import bench_of
    from fringe.judge.uncertainty.sources import measured_of

    light = replace(lamp(LED), **{k: v for k, v in fault.items() if k == "u_wavelength_nm"})
    options = ReadOptions(light, diameter_mm=DIAMETER_MM, plate_radius_mm=RADIUS_MM, work="concave")
    plate = {"plate": {"u_form_nm": fault.get("u_form_nm", U_FORM_NM)}}
    less = measured_of(seen(options), bench_of(surface, plate)).power
    assert less is not None
    assert less.u < 0.995 * expected_u()[part]


def test_one_function_for_all_sessions(
    surface: Surface, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the archive's list says of the visit is what the unlogged reading would measure."""
    call(capsys, "log", "shop/cc", "in/rings.jpg", "--json")
    assert surface.folder is not None
    (session,) = list_sessions(surface.folder)
    (logged,) = session.measured
    options = stated()
    assert logged == reading_measured(surface, seen(options), options)
