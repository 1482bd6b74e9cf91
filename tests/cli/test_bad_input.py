"""`fringe read` with input that is wrong: one clear line, status 2, nothing written."""

from __future__ import annotations

import io
import json
import re
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calling import call
from fringe.optics.lamps import lamp
from fringe.synth import Form, Scene, render, save

FRINGE = Path(sys.executable).with_name("fringe")
SIDE = 20_000


@dataclass(frozen=True)
class Run:
    """What a call of the program left behind."""

    status: int
    out: str
    err: str
    new_files: set[str]


@pytest.fixture(scope="session")
def good_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Render a photograph that can be read, to be spoilt or called wrongly."""
    path = tmp_path_factory.mktemp("good") / "good.jpg"
    save(render(Scene(240, 240, form=Form(power=4.0), lamp=lamp("sodium")), 1), path)
    return path


@pytest.fixture(scope="session")
def bomb(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a small PNG file that unpacks to a picture of 20,000 x 20,000 pixels."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        size, check = struct.pack(">I", len(body)), struct.pack(">I", zlib.crc32(kind + body))
        return size + kind + body + check

    packer = zlib.compressobj(1)
    row = bytes(SIDE + 1)
    packed = b"".join(packer.compress(row) for _ in range(SIDE)) + packer.flush()
    header = struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0)
    path = tmp_path_factory.mktemp("bomb") / "bomb.png"
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )
    assert path.stat().st_size < 3_000_000
    return path


def as_program(folder: Path, *words: str | Path) -> Run:
    """Run the installed program in a folder; note which files it made there."""
    before = {str(path) for path in folder.rglob("*")}
    done = subprocess.run([FRINGE, *words], cwd=folder, capture_output=True, text=True, check=False)
    after = {str(path) for path in folder.rglob("*")}
    return Run(done.returncode, done.stdout, done.stderr, after - before)


@pytest.fixture
def run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Callable[..., Run]:
    """Call the program in a folder; in this process, which starts far sooner than a new one."""
    monkeypatch.chdir(tmp_path)

    def called(*words: str | Path) -> Run:
        before = {str(path) for path in tmp_path.rglob("*")}
        answer = call(capfd, *words)
        after = {str(path) for path in tmp_path.rglob("*")}
        return Run(answer.status, answer.out, answer.err, after - before)

    return called


def assert_refused(run: Run, *words: str) -> None:
    """Check what every refusal owes: status, one line that says these words, an error object."""
    assert run.status == 2
    assert run.err.startswith("fringe: ")
    assert run.err.count("\n") == 1
    for word in words:
        assert word in run.err
    assert json.loads(run.out) == {"error": run.err.removeprefix("fringe: ").rstrip("\n")}
    assert run.new_files == set()


def png(samples: np.ndarray) -> bytes:
    file = io.BytesIO()
    Image.fromarray(samples).save(file, "PNG")
    return file.getvalue()


def frames() -> bytes:
    file = io.BytesIO()
    page = Image.new("L", (64, 64))
    page.save(file, "TIFF", save_all=True, append_images=[page, page])
    return file.getvalue()


FILES = {
    "empty.jpg": (b"", "is empty"),
    "text.jpg": (b"these are no pixels\n" * 100, "not a JPEG, PNG, TIFF or HEIC"),
    "page.pdf": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "not a JPEG, PNG, TIFF or HEIC"),
    "tiny.png": (png(np.zeros((8, 8), np.uint8)), "too few"),
    "bits.png": (png(np.zeros((64, 64), bool)), "black and white"),
    "pages.tif": (frames(), "several pictures"),
    "black.png": (png(np.zeros((256, 256), np.uint8)), "black.png"),
    "white.png": (png(np.full((256, 256), 255, np.uint8)), "white.png"),
    "grey.png": (png(np.full((256, 256, 3), 128, np.uint8)), "grey.png"),
}


@pytest.mark.parametrize("name", FILES)
def test_files_that_hold_no_photograph(name: str, tmp_path: Path, run: Callable[..., Run]) -> None:
    """A file that is no photograph of fringes is refused by its name and with the reason."""
    data, reason = FILES[name]
    (tmp_path / name).write_bytes(data)
    assert_refused(run("read", name, "--lamp", "sodium", "--json"), name, reason)


def test_missing_file(run: Callable[..., Run]) -> None:
    """A file that is not there is named."""
    answer = run("read", "gone.jpg", "--lamp", "sodium", "--json")
    assert_refused(answer, "gone.jpg", "no such file")


def test_folder_for_a_file(tmp_path: Path, run: Callable[..., Run]) -> None:
    """A folder is no photograph."""
    (tmp_path / "photos").mkdir()
    answer = run("read", "photos", "--lamp", "sodium", "--json")
    assert_refused(answer, "photos", "folder")


@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_file_cut_short(
    share: float, good_photo: Path, tmp_path: Path, run: Callable[..., Run]
) -> None:
    """A JPEG that was not copied to its end is refused, wherever it stops."""
    data = good_photo.read_bytes()
    (tmp_path / "cut.jpg").write_bytes(data[: int(share * len(data))])
    answer = run("read", "cut.jpg", "--lamp", "sodium", "--json")
    assert_refused(answer, "cut.jpg", "copy it")


def test_file_with_holes(
    good_photo: Path, tmp_path: Path, run: Callable[..., Run], rng: np.random.Generator
) -> None:
    """Bytes overwritten at random end in a reading or in a refusal, never in a traceback."""
    data = bytearray(good_photo.read_bytes())
    for place in rng.integers(2, len(data), 40):
        data[place] = rng.integers(256)
    (tmp_path / "holes.jpg").write_bytes(bytes(data))
    answer = run("read", "holes.jpg", "--lamp", "sodium", "--json")
    if answer.status:
        assert_refused(answer, "holes.jpg")
    else:
        assert "power_fringes" in json.loads(answer.out)


def test_bomb_is_refused_unopened(bomb: Path, run: Callable[..., Run]) -> None:
    """A small file of 400 megapixels is refused before its pixels fill the memory."""
    assert_refused(run("read", bomb, "--lamp", "sodium", "--json"), "bomb.png", "megapixels")
    code = (
        "import sys\nfrom pathlib import Path\nfrom fringe.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print(Path('/proc/self/status').read_text())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "read", bomb, "--lamp", "sodium"],
        capture_output=True,
        text=True,
        check=True,
    )
    # the usage that a process reports of itself would count the caller's memory too
    (peak,) = re.findall(r"VmHWM:\s+(\d+) kB", done.stdout)
    assert int(peak) * 1024 < SIDE * SIDE  # in bytes: less than one byte a pixel


OPTIONS = {
    "no lamp": ([], "lamp"),
    "no such lamp": (["--lamp", "candle"], "no lamp named 'candle'"),
    "half an LED": (["--lamp", "led:525"], "led:525"),
    "LED without width": (["--lamp", "led:525:0"], "led:525:0"),
    "LED of no colour": (["--lamp", "led:red:30"], "led:red:30"),
    "edge in words": (["--lamp", "sodium", "--edge", "round"], "'round'"),
    "edge of two numbers": (["--lamp", "sodium", "--edge", "120,120"], "'120,120'"),
    "edge outside": (["--lamp", "sodium", "--edge", "5000,5000,200"], "outside"),
    "edge beyond all sides": (["--lamp", "sodium", "--edge", "120,120,9000"], "outside"),
    "edge of no size": (["--lamp", "sodium", "--edge", "120,120,0"], "--edge"),
    "edge not finite": (["--lamp", "sodium", "--edge", "120,120,nan"], "--edge"),
    "diameter without unit": (["--lamp", "sodium", "--diameter", "150"], "has no unit"),
    "diameter of nothing": (["--lamp", "sodium", "--diameter", "0mm"], "greater than zero"),
    "diameter in kilograms": (["--lamp", "sodium", "--diameter", "5kg"], "'5kg'"),
    "plate too small": (
        ["--lamp", "sodium", "--diameter", "150mm", "--plate-radius", "50mm"],
        "50",
    ),
    "camera in the work": (["--lamp", "sodium", "--camera-distance", "-1m"], "greater than zero"),
    "no such form": (["--lamp", "sodium", "--work", "flat"], "'flat'"),
    "no such sense": (["--lamp", "sodium", "--sense", "maybe"], "'maybe'"),
    "scale of nothing": (["--lamp", "sodium", "--scale", "0"], "--scale"),
    "no such option": (["--lamp", "sodium", "--colour", "red"], "--colour"),
}


@pytest.mark.parametrize("what", OPTIONS)
def test_options_that_are_wrong(what: str, good_photo: Path, run: Callable[..., Run]) -> None:
    """An option that says nothing, or what cannot be, is refused by its name or its value."""
    words, reason = OPTIONS[what]
    assert_refused(run("read", good_photo, *words, "--json"), reason)


def test_without_json_standard_output_stays_empty(good_photo: Path, tmp_path: Path) -> None:
    """For a person the line on standard error is all there is."""
    run = as_program(tmp_path, "read", good_photo, "--lamp", "sodium", "--diameter", "150")
    assert (run.status, run.out) == (2, "")
    assert run.err == "fringe: --diameter: '150' has no unit; write for example 150mm\n"


@pytest.mark.parametrize(
    ("target", "reason"), [("no/such/folder.png", "no/such"), ("picture.xyz", "picture.xyz")]
)
def test_picture_that_cannot_be_written(
    target: str, reason: str, good_photo: Path, run: Callable[..., Run]
) -> None:
    """Where the picture cannot be saved the call fails, and leaves no part of it."""
    answer = run("read", good_photo, "--lamp", "sodium", "--picture", target, "--json")
    assert_refused(answer, "--picture", reason)


def test_names_with_spaces_and_letters(good_photo: Path, tmp_path: Path) -> None:
    """A good photograph reads under any name, and the call leaves nothing behind."""
    path = tmp_path / "plan convexe n° 3 été.jpg"
    path.write_bytes(good_photo.read_bytes())
    run = as_program(tmp_path, "read", path.name, "--lamp", "sodium", "--json")
    assert (run.status, run.err, run.new_files) == (0, "", set())
    assert json.loads(run.out)["power_fringes"] == pytest.approx(4.0, abs=0.1)
