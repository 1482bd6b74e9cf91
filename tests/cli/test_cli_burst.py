"""`fringe read --burst` and `fringe log --burst`: frames of one contact as one reading."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calling import call, refused
from fringe.archive.session import Visit
from fringe.archive.surface import find_surface
from fringe.photo.frames import load_frames


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Six frames of a contact of 3 fringes."""
    from fringe.synth import Form, Scene, render_sequence, save_picture, shift_steps

    folder = tmp_path_factory.mktemp("burst")
    rng = np.random.default_rng(5)
    scene = Scene(280, 280, form=Form(power=3.0, tilt=1.0))
    paths = []
    for number, shot in enumerate(render_sequence(scene, rng, shift_steps(6, rng, tilt=0.1)), 1):
        paths.append(folder / f"f-{number}.png")
        save_picture(shot.image, paths[-1])
    return paths


EDGE = ("--lamp", "sodium", "--edge", "139.5,139.5,117.6")


def test_frames_are_one_reading_with_its_picture(
    frames: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One JSON object tells power, frames and steps, and --picture draws the first frame."""
    picture = tmp_path / "over.png"
    answer = call(
        capsys, "read", "--burst", *frames, *EDGE, "--json", "--picture", picture
    )  # fmt: skip
    assert answer.status == 0
    assert answer.json["power_fringes"] == pytest.approx(3.0, abs=0.01)
    assert answer.json["frames"] == len(answer.json["steps_fringes"]) == 6
    with Image.open(picture) as drawn:
        assert min(drawn.size) > 500


def test_frames_are_logged_as_one_reading(
    frames: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A visit keeps the bytes of all frames and one reading made from them."""
    from fringe.archive.read import find_session, open_session

    call(capsys, "surface", "add", tmp_path / "shop", "c", "--form", "convex", "--radius", "1m",
         "--diameter", "50mm")  # fmt: skip
    answer = call(capsys, "log", tmp_path / "shop" / "c", "--burst", *frames, *EDGE, "--json")
    assert answer.status == 0
    folder = find_surface(str(tmp_path / "shop" / "c")).folder
    assert folder is not None
    visit: Visit = open_session(find_session(folder, "1")).visit
    assert [len(one.photographs) for one in visit.readings] == [6]
    assert [one.data for one in visit.photographs] == [path.read_bytes() for path in frames]


def test_what_makes_no_burst_is_said(
    frames: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Too few frames, a missing one and --by-eye are refused in a line."""
    assert "too few" in refused(capsys, "read", "--burst", *frames[:3], *EDGE)
    assert "no such file" in refused(capsys, "read", "--burst", *frames, "gone.png", *EDGE)
    words = ("--by-eye", "rings 3 centre", "--lamp", "sodium")
    assert "--burst" in refused(capsys, "read", "--burst", *words)


def test_frames_share_the_colour_of_the_first(tmp_path: Path) -> None:
    """A frame that is clearer in another channel is taken in that of the first."""
    wave = (127 + 100 * np.sin(np.arange(64) / 3)).astype(np.uint8) * np.ones((64, 1), np.uint8)
    flat = np.full_like(wave, 90)
    for name, planes in (("a", (wave, flat, flat)), ("b", (wave // 2, wave, flat))):
        Image.fromarray(np.stack(planes, axis=-1)).save(tmp_path / f"{name}.png")
    first, second = load_frames([tmp_path / "a.png", tmp_path / "b.png"])
    assert first.channel == second.channel == "red"
    assert float(second.light.max()) < 0.25  # halved before it is made linear
