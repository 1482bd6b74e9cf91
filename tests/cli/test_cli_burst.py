"""`fringe read --burst` and `fringe log --burst`: frames of one contact as one reading."""

from __future__ import annotations

import json
from contextlib import redirect_stdout
from pathlib import Path

import numpy as np
import pytest
from filming import film
from PIL import Image

from calling import call, refused
from fringe.archive.store.order import find_visit
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.session import LoggedReading, Photograph
from fringe.archive.store.surface import Surface, add_surface, find_surface
from fringe.archive.views.photographs import read_kept
from fringe.archive.views.reread import reread_surface
from fringe.cli import main
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading
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
    answer = call(capsys, "read", "--burst", *frames, *EDGE, "--json", "--picture", picture)
    assert answer.status == 0
    assert answer.json["power_fringes"] == pytest.approx(3.0, abs=0.01)
    assert answer.json["frames"] == len(answer.json["steps_fringes"]) == 6
    with Image.open(picture) as drawn:
        assert min(drawn.size) > 500


def new_surface(archive: Path) -> None:
    """Add a surface `c` to an archive."""
    add_surface(archive, Surface("c", "convex", radius_mm=1000.0, diameter_mm=50.0))


@pytest.fixture(scope="module")
def shop(frames: list[Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with a surface whose one visit is the burst; beside it what was told of it."""
    shop = tmp_path_factory.mktemp("burst") / "shop"
    new_surface(shop)
    words = ("log", shop / "c", "--burst", *frames, *EDGE, "--json")
    told = shop.parent / "told.json"
    with told.open("w") as file, redirect_stdout(file), pytest.raises(SystemExit) as done:
        main([str(word) for word in words])
    assert not done.value.code
    return shop


def reading_of(shop: Path) -> LoggedReading:
    """The reading of the surface's one visit."""
    folder = find_surface(f"{shop}/c").folder
    assert folder is not None
    (logged,) = open_session(find_visit(folder, "1").current.place).visit.readings
    return logged


def test_frames_are_logged_as_one_reading(frames: list[Path], shop: Path) -> None:
    """A visit keeps the bytes of all frames, and one reading with its frames and their steps."""
    folder = find_surface(f"{shop}/c").folder
    assert folder is not None
    visit = open_session(find_visit(folder, "1").current.place).visit
    assert [one.data for one in visit.photographs] == [path.read_bytes() for path in frames]
    logged = reading_of(shop)
    assert logged.photographs == (1, 2, 3, 4, 5, 6)
    (told,) = json.loads((shop.parent / "told.json").read_text())["readings"]
    assert logged.reading.frames == told["frames"] == 6
    assert list(logged.reading.steps_fringes or ()) == told["steps_fringes"]


def test_a_film_clip_is_logged_as_its_frames(
    frames: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Frames filmed are read as those of the burst, kept as pictures, and the clip is not."""
    clip = film(tmp_path / "press.mp4", [np.asarray(Image.open(one)) for one in frames])
    new_surface(tmp_path / "shop")
    words = ("log", tmp_path / "shop" / "c", "--burst", clip, *EDGE, "--json")
    (told,) = call(capsys, *words).json["readings"]
    assert told["frames"] == 6
    assert told["power_fringes"] == pytest.approx(3.0, abs=0.03)
    folder = find_surface(f"{tmp_path}/shop/c").folder
    assert folder is not None
    visit = open_session(find_visit(folder, "1").current.place).visit
    assert {one.media_type for one in visit.photographs} == {"image/png"}
    assert [one.file_name for one in visit.photographs][:2] == [
        "press-00000ms.png",
        "press-00033ms.png",
    ]


def test_a_logged_burst_is_read_again(shop: Path) -> None:
    """From the frames that the session keeps the burst comes out the same."""
    folder = find_surface(f"{shop}/c").folder
    assert folder is not None
    visit = open_session(find_visit(folder, "1").current.place).visit
    (logged,) = visit.readings
    seen = []

    def kept(photographs: tuple[Photograph, ...], options: ReadOptions) -> Reading:
        seen.append(read_kept(photographs, options))
        return seen[-1]

    found = reread_surface(find_surface(f"{shop}/c"), reader=kept)
    assert (found.computed, found.changes, found.left_out) == (1, (), ())
    (now,) = seen
    assert now.power_fringes == pytest.approx(logged.reading.power_fringes, abs=1e-9)
    assert now.frames == logged.reading.frames
    assert now.steps_fringes == pytest.approx(logged.reading.steps_fringes, abs=1e-9)


@pytest.mark.parametrize("name", ["out.nc", "out", "out.csv"])
def test_a_burst_is_taken_out_and_brought_back(
    shop: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One file, a folder and a table bring frames and steps back; the folder tells them, too."""
    other = tmp_path / "other"
    call(capsys, "export", shop / "c", tmp_path / name)
    to: Path | str = other
    if name.endswith(".csv"):
        new_surface(other)
        to = other / "c"
    answer = call(capsys, "import", tmp_path / name, to)
    assert answer.status == 0, answer.err
    back, here = reading_of(other).reading, reading_of(shop).reading
    assert (back.frames, back.steps_fringes) == (here.frames, here.steps_fringes)
    assert back.frames == 6
    for path in (tmp_path / "out").glob("photographs/*.json"):
        (told,) = json.loads(path.read_text())["readings"]
        assert (told["frames"], len(told["steps_fringes"])) == (6, 6)


def test_a_refused_burst_is_kept_if_wanted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Frames that make no reading are logged with the reason under --keep-refused alone."""
    new_surface(tmp_path / "shop")
    dark = []
    for number in range(5):
        dark.append(tmp_path / f"dark-{number}.png")
        Image.new("L", (280, 280), number).save(dark[-1])
    words = ("log", tmp_path / "shop" / "c", "--burst", *dark, *EDGE)
    reason = refused(capsys, *words).removeprefix("fringe: ").strip()
    assert not session_files(next((tmp_path / "shop").glob("c*")))
    answer = call(capsys, *words, "--keep-refused", "--json")
    assert answer.json["readings"] == []
    assert [line.endswith(reason) for line in answer.json["refused"]] == [True] * 5


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
