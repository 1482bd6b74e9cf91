"""What `import fringe` gives: names, their examples, lengths in every form, and what it loads."""

from __future__ import annotations

import doctest
import json
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pint
import pytest

import fringe
import fringe.api.design
import fringe.api.readings
import fringe.api.records
from calling import HEAVY, call
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.judge.tolerance.verdict import Tolerance

pytestmark = pytest.mark.usefixtures("known_fits")
MODULES = [fringe, fringe.api.readings, fringe.api.records, fringe.api.design]
STUB = Path(fringe.__file__).with_suffix(".pyi").read_text(encoding="utf-8")


def test_the_import_loads_nothing() -> None:
    """The package, its list of names and its errors load neither numpy nor any other library."""
    code = (
        "import sys, json; before = set(sys.modules)\n"
        "import fringe; dir(fringe); fringe.__all__; fringe.BadInput\n"
        "print(json.dumps(sorted(set(sys.modules) - before)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    names = json.loads(done.stdout)
    assert {name for name in names if name.startswith("fringe")} == {"fringe", "fringe.errors"}
    assert {name.split(".")[0] for name in names} & HEAVY == set()


def test_every_name_is_there_and_typed() -> None:
    """Each public name can be had, is listed, and stands in the stub; nothing else does."""
    for name in fringe.__all__:
        assert getattr(fringe, name) == getattr(fringe, name)
        assert name in dir(fringe)
    typed = {new for old, new in re.findall(r"\b(\w+) as (\w+)\b", STUB) if new == old}
    assert typed | {"__version__"} == set(fringe.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        fringe.nothing  # noqa: B018


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_examples(module, tmp_path, monkeypatch):
    """The examples in the docstrings run, and print what they say."""
    monkeypatch.chdir(tmp_path)
    found = doctest.testmod(module, optionflags=doctest.ELLIPSIS)
    assert found.attempted > 1
    assert found.failed == 0


@pytest.mark.parametrize("name", [name for name in fringe.__all__ if name.islower()])
def test_every_function_has_an_example_or_a_model(name: str) -> None:
    """Each public function says what it takes, gives and refuses."""
    if name == "__version__":
        return
    text = getattr(fringe, name).__doc__ or ""
    assert "Raises\n" in text


@pytest.mark.parametrize(
    "lengths",
    [
        {"diameter": "150mm", "plate_radius": "3.048 m"},
        {"diameter_mm": 150, "plate_radius_mm": 3048.0},
        {"diameter": 15 * pint.get_application_registry().cm, "plate_radius": "3048mm"},
        {"diameter_mm": np.float64(150), "plate_radius": "120in"},
    ],
)
def test_lengths_in_every_form(lengths):
    """Text with a unit, a number named for its unit and a quantity of pint say the same."""
    found = fringe.read_options(lamp="sodium", **lengths)
    # analytic: 120 in are 3048 mm
    assert found.diameter_mm == pytest.approx(150)
    assert found.plate_radius_mm == pytest.approx(3048)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"diameter": 150}, "diameter: 150 has no unit; write diameter='150mm'"),
        ({"diameter": "150"}, "diameter: '150' has no unit"),
        ({"diameter": "150mm", "diameter_mm": 150}, "diameter: is given twice"),
        ({"diameter_mm": -1}, "diameter_mm: '-1.0mm' is not a length greater than zero"),
        ({"diameter_mm": float("nan")}, "diameter_mm"),
        ({"diameter": 2 * pint.get_application_registry().s}, "diameter: 2 second is no length"),
        ({"work": "flat"}, "work: 'flat' is none of convex, concave"),
        ({"sense": "left"}, "sense: 'left' is none of auto, centre, edge"),
        ({"edge": (1, 2)}, "edge: '1.0,2.0' is"),
        ({"lamp": None}, "lamp: give its name"),
        ({"lamp": "moon"}, "no lamp named"),
        ({"scale_px_per_mm": 0}, "scale_px_per_mm: 0 is not greater than zero"),
        ({"u_diameter_mm": -0.1}, "u_diameter_mm: -0.1 is no uncertainty"),
    ],
)
def test_what_cannot_be_is_refused(words, says):
    """A word or a length that is none is one line that names it."""
    with pytest.raises(fringe.BadInput, match=re.escape(says)) as caught:
        fringe.read_options(**{"lamp": "sodium", **words})
    assert "\n" not in str(caught.value)


def test_it_reads_as_the_command_does(tmp_path, capsys):
    """A path, bytes and a loaded photograph give one reading, that of `fringe read --json`."""
    photo = tmp_path / "contact.jpg"
    shown = fringe.render(photo, power=-3.5, tilt=2, size="500", seed=7)
    words = {"diameter": "150mm", "plate_radius": "3048mm", "work": "concave", "sense": "edge"}
    first, *others = (
        fringe.read(one, lamp="sodium", edge="auto", **words)
        for one in (photo, photo.read_bytes(), fringe.load_photo(photo))
    )
    assert [one.to_json() for one in others] == [first.to_json()] * 2
    typed = [text for name, value in words.items() for text in (f"--{name}", value)]
    typed = [text.replace("_", "-") for text in typed]
    assert call(capsys, "read", photo, "--lamp", "sodium", *typed, "--json").json == first.to_json()
    assert first.power_fringes == pytest.approx(shown.truth["power_fringes"], abs=0.15)
    with pytest.raises(fringe.BadInput, match="no such file"):
        fringe.read(tmp_path / "gone.jpg", lamp="sodium")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A convex and a concave of one radius in an archive `shop`, and a photograph of each."""
    monkeypatch.chdir(tmp_path)
    for seed, form in enumerate(("convex", "concave"), 3):
        plate, tolerance = Plate(f"plate of {form} 1", 3048.0, 0.1), Tolerance(4.0)
        add_surface(
            tmp_path / "shop",
            Surface(
                f"{form} 1", form, 3048.0, 150.0, plate=plate, tolerance=tolerance, lamp="sodium"
            ),
        )
        fringe.render(f"{form}.png", power=2, tilt=2, size="400", seed=seed)


def test_visits_are_logged_and_judged(shop, capsys):
    """A visit that is logged from Python is that of `fringe log`, and progress and pair know it."""
    for form in ("convex", "concave"):
        done = fringe.log_visit(
            f"shop/{form} 1", f"{form}.png", sense="centre", stage="polish", minutes=40,
            on_top="tool", when="2026-03-14T09:30+00:00",
        )  # fmt: skip
        assert done.number == 1
        assert done.path.is_file()
        state = fringe.progress(fringe.open_surface(f"shop/{form} 1"))
        assert state.rows[0].power_fringes == pytest.approx(2, abs=0.1)
        told = call(capsys, "progress", f"shop/{form} 1", "--json").json
        told.pop("picture")
        assert json.loads(json.dumps(state.to_json())) == told
    assert list(fringe.to_dataset(fringe.open_surface("shop/convex 1")).visit) == [1]
    found = fringe.match("shop/concave 1", "shop/convex 1", tolerance_power_fringes=20)
    words = ("shop/convex 1", "shop/concave 1", "--tolerance-power", 20)
    told = call(capsys, "pair", *words, "--json").json
    assert json.loads(json.dumps(found.to_json())) == {k: told[k] for k in found.to_json()}
    assert found.pair.verdict is not None


def test_a_contacts_own_uncertainty_counts_in_the_match(shop, capsys):
    """`contact_u_fringes` is what `fringe pair --contact-u` is."""
    for form in ("convex", "concave"):
        fringe.log_visit(f"shop/{form} 1", f"{form}.png", sense="centre")
    pieces = ("shop/convex 1", "shop/concave 1")
    found = fringe.match(
        *pieces, tolerance_power_fringes=20, contact_u_fringes=0.8, contact_common_u_fringes=0.5
    )
    words = ("--tolerance-power", 20, "--contact-u", 0.8, "--contact-common-u", 0.5)
    told = call(capsys, "pair", *pieces, *words, "--json").json
    assert json.loads(json.dumps(found.to_json())) == {k: told[k] for k in found.to_json()}
    assert found.pair.u_mismatch_mm > 2 * fringe.match(*pieces).pair.u_mismatch_mm
    with pytest.raises(fringe.BadInput, match="contact_u_fringes: -1"):
        fringe.match(*pieces, contact_u_fringes=-1)


def test_a_visit_takes_what_the_command_takes(shop):
    """Spherometer, loupe and the rest are logged from Python, by the options' names."""
    done = fringe.log_visit(
        "shop/convex 1", stage="#400", minutes=10, on_top="tool", sag_plate="808um,807um",
        sag_work=["793um"], zero="0um", reading_u_mm=1e-3, removed="20um", pits="left",
        temperature_c=21.5, by_eye="rings 3 centre", stroke="W",
    )  # fmt: skip
    visit = done.visit
    heights = {one.piece: 1e3 * one.height_mm for one in visit.spherometers}
    assert heights["plate"] == pytest.approx([808, 807])
    assert heights["work"] == pytest.approx([793])
    assert (visit.work.stroke, visit.work.pits) == ("W", "left")
    assert visit.work.removed_mm == pytest.approx(0.02)
    assert visit.temperature_c == 21.5
    assert done.row.power_fringes is not None
    with pytest.raises(fringe.BadInput, match="colour: log_visit takes no such word"):
        fringe.log_visit("shop/convex 1", remark="x", colour="red")
    with pytest.raises(fringe.BadInput, match="pits"):
        fringe.log_visit("shop/convex 1", remark="x", pits="some")


def test_budget_of_a_visit_is_the_commands(shop, capsys):
    """A surface's budget is `fringe budget`'s, and what is assumed of the bench counts."""
    fringe.log_visit("shop/convex 1", "convex.png", sense="centre")
    found = fringe.budget("shop/convex 1", u_axial_k=0.1, glass="borosilicate", thickness="25mm")
    words = ("--axial-u", 0.1, "--glass", "borosilicate", "--thickness", "25mm", "--trials", 0)
    told = call(capsys, "budget", "shop/convex 1", *words, "--json").json
    assert [json.loads(json.dumps(one.to_json())) for one in found.values()] == told["results"]
    reading = fringe.read("convex.png", lamp="sodium", sense="centre")
    plain = fringe.budget(reading)["power"]
    formed = fringe.budget(reading, u_plate_form_nm=30)["power"]
    assert formed.u == pytest.approx(math.hypot(plain.u, 30 / (589.29 / 2)), rel=1e-3)
    with pytest.raises(fringe.BadInput, match="visit: belongs to a surface"):
        fringe.budget(reading, visit=1)
    with pytest.raises(fringe.BadInput, match="one surface alone"):
        fringe.budget("shop/convex 1", diameter="150mm")


def test_a_split_spell_is_logged(shop):
    """Minutes and pieces in a list are the parts of one spell; the rest since the lap is kept."""
    done = fringe.log_visit(
        "shop/convex 1", "convex.png", sense="centre", stage="9um", minutes=[30, 40],
        on_top=["work", "tool"], rested=15,
    )  # fmt: skip
    assert done.row.split == (("work", 30.0), ("tool", 40.0))
    assert (done.row.minutes, done.row.rested_minutes) == (70.0, 15.0)
    with pytest.raises(fringe.BadInput, match="says both for each part"):
        fringe.log_visit("shop/convex 1", minutes=[30, 40], on_top="work")


def test_what_is_not_said_is_as_the_last_time(shop):
    """Stage and piece are taken over with minutes alone; what is hardly meant needs `yes`."""
    fringe.log_visit("shop/convex 1", stage="9um", minutes=30, on_top="tool")
    done = fringe.log_visit("shop/convex 1", minutes=20)
    assert (done.visit.work.stage, done.visit.work.on_top) == ("9um", "tool")
    assert done.assumed == ("as the last time: stage 9um, tool on top",)
    with pytest.raises(fringe.BadInput, match="future"):
        fringe.log_visit("shop/convex 1", remark="x", when="2126-03-14T09:30+00:00")
    later = fringe.log_visit(
        "shop/convex 1", remark="x", when="2126-03-14T09:30+00:00", yes=True
    )  # fmt: skip
    assert later.number == 3


def test_a_visit_that_cannot_be_is_not_logged(shop):
    """What is wrong with a visit is refused before anything is written."""
    with pytest.raises(fringe.BadInput, match="no such file"):
        fringe.log_visit("shop/convex 1", "gone.png")
    with pytest.raises(fringe.BadInput, match="sense: 'left'"):
        fringe.log_visit("shop/convex 1", "convex.png", sense="left")
    assert fringe.progress("shop/convex 1").rows == ()
