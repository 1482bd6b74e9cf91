"""What `import fringe` gives: names, their examples, lengths in every form, and what it loads."""

from __future__ import annotations

import doctest
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pint
import pytest

import fringe
import fringe.api
from calling import HEAVY, call

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


@pytest.mark.parametrize("module", [fringe, fringe.api], ids=lambda module: module.__name__)
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
        ({"edge": (1, 2)}, "edge: '1.0,2.0' is no edge"),
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
