"""What is written to disk."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageOps
from synth.plain import plain_scene

from fringe.errors import BadInput
from fringe.synth import Form, render, save
from fringe.synth.files import encode, truth_path
from fringe.synth.scene import Camera


def small(**camera):
    """A small picture."""
    return render(
        plain_scene(
            width=90,
            height=70,
            radius_px=30.0,
            form=Form(power=2.0, tilt=1.0),
            camera=Camera(**camera),
        )
    )


@pytest.mark.parametrize("colour", ["bayer", "mono"])
@pytest.mark.parametrize("suffix", [".png", ".tif", ".tiff", ".PNG"])
def test_lossless_files_hold_the_very_samples(tmp_path, suffix, colour):
    """PNG and TIFF of 8 bits give back every sample."""
    rendered = small(colour=colour)
    path = save(rendered, tmp_path / f"a{suffix}")
    assert np.array_equal(np.asarray(Image.open(path)), rendered.image)


def test_sixteen_bit_tiff_and_png_hold_the_very_samples(tmp_path):
    """16 bit colour survives TIFF and PNG, and 16 bit grey too."""
    import tifffile

    rendered = small(bits=16)
    assert rendered.image.dtype == np.uint16
    path = save(rendered, tmp_path / "a.tif")
    assert np.array_equal(tifffile.imread(path), rendered.image)
    path = save(rendered, tmp_path / "a.png")
    header = path.read_bytes()[:29]
    assert header[16:26] == bytes([0, 0, 0, 90, 0, 0, 0, 70, 16, 2])
    # Pillow reads 16 bit colour as 8 bits: the high byte
    assert np.array_equal(np.asarray(Image.open(path)), (rendered.image >> 8).astype(np.uint8))
    grey = small(bits=16, colour="mono")
    path = save(grey, tmp_path / "g.png")
    assert np.array_equal(np.asarray(Image.open(path)), grey.image)


def test_jpeg_is_close_and_has_halved_colour(tmp_path):
    """JPEG is written with 4:2:0 colour, and a better quality lies closer to the samples."""
    rendered = small(quality=95)
    errors = []
    for quality in (95, 40):
        camera = replace(rendered.scene.camera, quality=quality)
        changed = replace(rendered, scene=replace(rendered.scene, camera=camera))
        with Image.open(save(changed, tmp_path / "a.jpg")) as picture:
            assert picture.format == "JPEG"
            assert picture.layer[0][1:3] == (2, 2)
            difference = np.asarray(picture).astype(int) - rendered.image
        errors.append(np.abs(difference).mean())
    assert errors[0] < errors[1] < 30


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".png", ".jpg"])
def test_orientation_is_stored_and_comes_back_upright(tmp_path, orientation, suffix):
    """A reader that obeys EXIF sees the upright picture whatever the orientation stored."""
    rendered = small(orientation=orientation, quality=100)
    with Image.open(save(rendered, tmp_path / f"a{suffix}")) as stored:
        swapped = orientation >= 5
        assert stored.size == ((70, 90) if swapped else (90, 70))
        upright = np.asarray(ImageOps.exif_transpose(stored)).astype(int)
    assert upright.shape == rendered.image.shape
    limit = 0 if suffix == ".png" else 8
    assert np.abs(upright - rendered.image).mean() <= limit


def test_truth_lies_beside_the_photograph(tmp_path):
    """The truth goes to the same name with .json and equals the one in memory."""
    rendered = small()
    path = save(rendered, tmp_path / "a.jpg")
    told = json.loads(truth_path(path).read_text())
    assert told == json.loads(json.dumps(rendered.truth))


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    """When writing fails, the earlier photograph stays whole and no scraps are left."""
    import os

    path = save(small(), tmp_path / "a.png")
    before = path.read_bytes()

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(BadInput, match="the disk is full"):
        save(small(bits=16), path)
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "a.png"]


def test_wrong_names_are_refused(tmp_path):
    """Unknown formats, 16 bit JPEG, missing folders and existing files are refused."""
    eight, sixteen = small(), small(bits=16)
    for rendered, name, words in (
        (eight, "a.gif", "must end in"),
        (sixteen, "a.jpg", "8 bits"),
        (eight, "none/a.jpg", "no folder"),
    ):
        with pytest.raises(BadInput, match=words):
            save(rendered, tmp_path / name)
    save(eight, tmp_path / "a.jpg")
    with pytest.raises(BadInput, match="already"):
        save(eight, tmp_path / "a.png", force=False)  # its truth would replace the other's
    with pytest.raises(BadInput, match="orientation"):
        encode(sixteen.image, "PNG", orientation=6)
