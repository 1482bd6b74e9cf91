"""HEIC photographs: written by the library that reads them, with an encoder beside it."""

from __future__ import annotations

import io
import sys
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.decode import decoded
from fringe.photo.heif import srgb_of_hlg
from fringe.photo.kinds import is_heif
from fringe.photo.load import load_photo
from fringe.photo.when import camera_time
from fringe.synth import Form, Scene, render

pillow_heif = pytest.importorskip("pillow_heif")


def heic(image: NDArray[np.uint8], orientation: int = 1) -> bytes:
    """A HEIC file of 8 bits with the camera's notes."""
    notes = Image.Exif()
    notes[0x0112] = orientation
    notes.get_ifd(0x8769)[0x9003] = "2026:03:14 09:30:00"
    file = io.BytesIO()
    picture = pillow_heif.from_pillow(Image.fromarray(image))
    picture.save(file, quality=95, exif=notes.tobytes())
    return file.getvalue()


def slope() -> NDArray[np.uint8]:
    """A picture that is bright at the right and greener below, 128 x 96."""
    y, x = np.mgrid[:96, :128]
    return np.stack([x * 1.8, 40 + y * 1.5, 60 + 0 * x], axis=2).astype(np.uint8)


def test_a_heic_photograph_is_read(tmp_path: Path, rng: np.random.Generator) -> None:
    """Power of a rendered contact, saved as HEIC, within 0.03 fringe, and the time it was taken."""
    scene = Scene(400, 400, form=Form(power=4.0, tilt=1.0), seed=int(rng.integers(2**31)))
    file = tmp_path / "rings.heic"
    file.write_bytes(heic(render(scene, rng).image))
    photo = load_photo(file)
    assert (photo.bits, photo.channel, photo.width) == (8, "red", 400)
    reading = read(photo, ReadOptions(lamp("sodium"), edge=scene.edge))
    assert reading.power_fringes == pytest.approx(4.0, abs=0.03)
    assert camera_time(file) == datetime(2026, 3, 14, 9, 30)
    assert camera_time(io.BytesIO(file.read_bytes())) == datetime(2026, 3, 14, 9, 30)


def test_the_samples_outlive_the_file() -> None:
    """What was decoded stays as it was once the decoder's file is gone and its memory is used."""
    before = decoded(heic(slope()), "kept.heic").samples()
    kept = before.copy()
    others = [np.full(before.shape, value, np.uint8) for value in range(40)]
    assert np.array_equal(before, kept)
    assert len(others) == 40


def test_it_is_turned_upright_once() -> None:
    """Orientation 6 (turn by a quarter clockwise): the bright right side comes to the bottom."""
    picture = decoded(heic(slope(), 6), "turned.heic")
    assert picture.size == (96, 128)
    samples = picture.samples().astype(int)
    assert samples[-8:, :, 0].mean() > samples[:8, :, 0].mean() + 100
    assert samples[:, :8, 1].mean() > samples[:, -8:, 1].mean() + 80


def test_ten_bits_are_kept() -> None:
    """Of a 10-bit file a smooth slope has more steps than 8 bits hold."""
    wide = np.linspace(0, 65535, 640).astype(np.uint16)
    image = np.repeat(np.tile(wide, (64, 1))[..., None], 3, axis=2)
    file = io.BytesIO()
    picture = pillow_heif.from_bytes("RGB;16", (640, 64), image.tobytes())
    picture.save(file, quality=-1, chroma=444)
    samples = decoded(file.getvalue(), "deep.heic").samples()
    assert samples.dtype == np.uint16
    assert np.unique(samples[..., 1]).size > 400
    assert np.abs(samples[32, :, 1].astype(int) - wide).max() < 800


def test_a_damaged_one_is_refused_in_a_line() -> None:
    """Cut short, or overwritten in the middle: one line that names the file."""
    whole = heic(slope())
    for data in (whole[:200], whole[: len(whole) // 2], whole[:40] + bytes(len(whole) - 40)):
        with pytest.raises(BadInput, match=r"^hurt\.heic: is a HEIC picture that cannot be"):
            decoded(data, "hurt.heic")


def test_the_decoder_is_imported_for_such_files_only() -> None:
    """A PNG is told from a HEIC by its first bytes, without the decoder."""
    file = io.BytesIO()
    Image.fromarray(slope()).save(file, "PNG")
    assert not is_heif(file.getvalue())
    before = set(sys.modules)
    decoded(file.getvalue(), "plain.png")
    assert not {name for name in set(sys.modules) - before if name.startswith("pi_heif")}


def test_curve_of_films() -> None:
    """Hybrid log-gamma (analytic): half is a twelfth of the light, and both ends stay."""
    half = 1.055 * (1 / 12) ** (1 / 2.4) - 0.055
    assert srgb_of_hlg(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.0, half, 1.0], abs=1e-4)
