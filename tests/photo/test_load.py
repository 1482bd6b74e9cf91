"""Loading a photograph: upright, linear, the right channel, in the files that cameras write."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps
from skimage.color import rgb2xyz

from fringe.errors import BadInput
from fringe.photo.load import (
    CHANNELS,
    decode,
    decode_small,
    load_photo,
    photo_from_array,
    photo_from_bytes,
)
from fringe.photo.srgb import srgb_to_linear

CODES = np.arange(256)


def standard(code: float, top: float) -> float:
    """The sRGB transfer function of IEC 61966-2-1 as it stands there, for one sample."""
    value = code / top
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def test_srgb_is_the_standards():
    """(published) All 256 codes follow the formula of IEC 61966-2-1."""
    expected = [standard(code, 255) for code in CODES]
    np.testing.assert_allclose(srgb_to_linear(CODES / 255), expected, rtol=2e-6)


def test_srgb_agrees_with_another_library():
    """Greys have the luminance Y that scikit-image gives them on the way to XYZ."""
    grey = np.repeat(CODES[:, None] / 255, 3, axis=1)
    # its matrix has six digits, so that white has Y = 1 to that precision
    np.testing.assert_allclose(srgb_to_linear(CODES / 255), rgb2xyz(grey)[:, 1], atol=2e-6)


def encoded(samples: np.ndarray, kind: str, **options) -> bytes:
    """A file's bytes; TIFF of more than 8 bits by the library that keeps them."""
    file = io.BytesIO()
    if kind == "TIFF" and samples.dtype != np.uint8:
        tifffile.imwrite(file, samples, **options)
    else:
        Image.fromarray(samples).save(file, kind, **options)
    return file.getvalue()


def shades(rng, kind, *shape):
    """Samples of every height that a kind has."""
    return rng.integers(0, np.iinfo(kind).max, shape, kind, endpoint=True)


@pytest.mark.parametrize(
    ("file", "colours", "kind"),
    # a PNG of 16-bit colour is read at 8 bits, which another test shows
    [
        ("PNG", 1, np.uint8),
        ("PNG", 3, np.uint8),
        ("PNG", 1, np.uint16),
        ("TIFF", 1, np.uint8),
        ("TIFF", 3, np.uint8),
        ("TIFF", 1, np.uint16),
        ("TIFF", 3, np.uint16),
    ],
)
def test_light_is_linear_in_every_depth(rng, file, colours, kind):
    """Grey and colour of 8 and 16 bits give the standard's light of the chosen channel's codes."""
    samples = shades(rng, kind, 40, 50, colours).squeeze()
    options = {"photometric": "rgb"} if (file, colours, kind) == ("TIFF", 3, np.uint16) else {}
    data = encoded(samples, file, **options)
    photo = photo_from_bytes(data, "a")
    codes = samples if colours == 1 else samples[..., CHANNELS.index(photo.channel)]
    top = np.iinfo(kind).max
    expected = np.vectorize(standard)(codes, top)
    assert photo.light.dtype == np.float32
    np.testing.assert_allclose(photo.light, expected, rtol=1e-5)
    # within one part in a hundred of the top counts as clipped
    np.testing.assert_array_equal(photo.clipped, codes >= top - top // 100)
    assert (photo.bits, photo.width, photo.height) == (8 * samples.itemsize, 50, 40)
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.channel == "grey") == (colours == 1)
    assert photo.notes == ()


def test_twelve_bits_in_sixteen():
    """A TIFF of 12 bits a sample has its full scale at 4095, not far below clipping."""
    ramp = np.tile(np.arange(4096, dtype=np.uint16), (32, 1))
    # two samples in three bytes, the higher bits first (TIFF 6.0)
    pairs = ramp.reshape(-1, 2).astype(np.uint32)
    packed = (
        np.stack(
            [pairs[:, 0] >> 4, (pairs[:, 0] & 15) << 4 | pairs[:, 1] >> 8, pairs[:, 1] & 255], 1
        )
        .astype(np.uint8)
        .tobytes()
    )
    photo = photo_from_bytes(plain_tiff(4096, 32, 12, packed), "a.tif")
    assert photo.light[0, -1] == pytest.approx(1.0, abs=1e-6)
    assert photo.clipped[0, -1]
    assert photo.light[0, 2048] == pytest.approx(standard(2048, 4095), rel=1e-3)


def plain_tiff(width: int, height: int, bits: int, data: bytes) -> bytes:
    """A grey TIFF of one strip, written by hand from TIFF 6.0."""
    start = 8 + 2 + 9 * 12 + 4
    tags = [(256, 4, width), (257, 4, height), (258, 3, bits), (259, 3, 1), (262, 3, 1),
            (273, 4, start), (277, 3, 1), (278, 4, height), (279, 4, len(data))]  # fmt: skip
    parts = [b"II*\0", (8).to_bytes(4, "little"), len(tags).to_bytes(2, "little")]
    for tag, kind, value in tags:
        parts += [x.to_bytes(n, "little") for x, n in ((tag, 2), (kind, 2), (1, 4), (value, 4))]
    return b"".join([*parts, bytes(4), data])


def test_floats_are_light_already(rng):
    """A floating-point TIFF is linear light, scaled to its greatest value, negatives kept."""
    light = rng.normal(0.5, 0.3, (40, 50)).astype(np.float32)
    photo = photo_from_bytes(encoded(light, "TIFF"), "a.tif")
    np.testing.assert_allclose(photo.light, light / light.max(), rtol=1e-6)
    assert not photo.clipped.any()
    assert photo.bits == 32


@pytest.mark.parametrize("kind", [np.float16, np.float32, np.float64])
def test_floating_point_colour(rng, kind):
    """Floating-point colour of any width is read as light, by its liveliest channel."""
    light = rng.uniform(0, [0.1, 0.9, 0.4], (40, 50, 3)).astype(kind)
    photo = photo_from_bytes(encoded(light, "TIFF", photometric="rgb"), "a.tif")
    assert (photo.channel, photo.bits) == ("green", 8 * light.itemsize)
    np.testing.assert_allclose(photo.light, light[..., 1] / light[..., 1].max(), rtol=2e-3)


@pytest.mark.parametrize(
    "options",
    [
        {"compression": "zlib"},
        {"compression": "zlib", "predictor": True},
        {"planarconfig": "separate"},
        {"tile": (16, 16)},
        {"byteorder": ">"},
        {"bigtiff": True},
        {"rowsperstrip": 3},
        {"extrasamples": ("unassalpha",)},
    ],
    ids=str,
)
def test_deep_colour_however_it_is_stored(rng, options):
    """Colour of 16 bits keeps all of them: packed, in planes, in tiles, with alpha."""
    samples = shades(rng, np.uint16, 40, 50, 4 if "extrasamples" in options else 3)
    stored = np.moveaxis(samples, 2, 0) if "planarconfig" in options else samples
    data = encoded(stored, "TIFF", photometric="rgb", **options)
    found, notes = decode(data, "a.tif")
    np.testing.assert_array_equal(found, samples[..., :3])
    assert notes == []


def test_packing_that_hides_the_lower_bits_is_told():
    """Deep colour that only 8 bits are read of says so in its notes."""
    deep = np.random.default_rng(1).integers(0, 65535, (40, 50, 3), np.uint16)
    for data in (_deep_png(deep), _lzw_tiff(deep)):
        samples, notes = decode(data, "a")
        np.testing.assert_array_equal(samples, deep >> 8)
        assert len(notes) == 1
        assert "8 bits" in notes[0]


def _deep_png(samples: np.ndarray) -> bytes:
    """A PNG of 16-bit colour, from the PNG standard: no filter, one chunk of data."""

    def chunk(kind, body):
        check = struct.pack(">I", zlib.crc32(kind + body))
        return struct.pack(">I", len(body)) + kind + body + check

    height, width, _ = samples.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in samples)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        [
            chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)),
            chunk(b"IDAT", zlib.compress(rows)),
            chunk(b"IEND", b""),
        ]
    )


def _lzw_tiff(samples: np.ndarray) -> bytes:
    """A TIFF of 16-bit colour, LZW from TIFF 6.0 without making use of its table."""
    data = samples.tobytes()
    bits = ["100000000"]
    for i, byte in enumerate(data):
        if i and i % 200 == 0:  # clear before codes grow longer than nine bits
            bits.append("100000000")
        bits.append(f"{byte:09b}")
    text = "".join([*bits, "100000001"])
    packed = int(text.ljust(-(-len(text) // 8) * 8, "0"), 2).to_bytes(-(-len(text) // 8), "big")
    height, width, _ = samples.shape
    tags = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, 8), (259, 3, 1, 5),
            (262, 3, 1, 2), (273, 4, 1, 14 + 9 * 12 + 6), (277, 3, 1, 3), (278, 4, 1, height),
            (279, 4, 1, len(packed))]  # fmt: skip
    tags[2] = (258, 3, 3, 14 + 9 * 12)
    parts = [b"II*\0", (8).to_bytes(4, "little"), len(tags).to_bytes(2, "little")]
    for tag, kind, count, value in tags:
        sizes = ((tag, 2), (kind, 2), (count, 4), (value, 4))
        parts += [x.to_bytes(n, "little") for x, n in sizes]
    return b"".join([*parts, bytes(4), (16).to_bytes(2, "little") * 3, packed])


ORIENTATIONS = range(1, 9)


def as_pillow_turns(samples: np.ndarray, orientation: int) -> np.ndarray:
    """Samples in the order in which Pillow's own `exif_transpose` puts their pixels."""
    height, width = samples.shape[:2]
    places = Image.fromarray(np.arange(height * width, dtype=np.int32).reshape(height, width))
    places.getexif()[0x0112] = orientation
    order = np.asarray(ImageOps.exif_transpose(places))
    return samples.reshape(height * width, -1)[order].squeeze()


def oriented(samples: np.ndarray, kind: str, orientation: int) -> bytes:
    if kind == "TIFF" and samples.dtype != np.uint8:
        return encoded(
            samples,
            "TIFF",
            extratags=[(0x0112, "H", 1, orientation, True)],
            photometric="rgb" if samples.ndim == 3 else "minisblack",
        )
    exif = Image.Exif()
    exif[0x0112] = orientation
    return encoded(samples, kind, exif=exif)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize(
    ("kind", "depth", "colours"),
    [
        ("PNG", "u1", 1),
        ("PNG", "u1", 3),
        ("PNG", "u2", 1),
        ("TIFF", "u1", 1),
        ("TIFF", "u1", 3),
        ("TIFF", "u2", 1),
        ("TIFF", "u2", 3),
        ("TIFF", "f4", 1),
        ("TIFF", "f4", 3),
    ],
)
def test_pictures_stand_upright(rng, kind, depth, colours, orientation):
    """Each EXIF orientation turns each kind of file as Pillow's exif_transpose does."""
    samples = rng.integers(0, 256, (35, 47, colours)).astype(depth).squeeze()
    found, _ = decode(oriented(samples, kind, orientation), "a")
    np.testing.assert_array_equal(found, as_pillow_turns(samples, orientation))


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_jpegs_stand_upright(rng, orientation):
    """A JPEG is turned as Pillow's exif_transpose turns it."""
    data = oriented(shades(rng, np.uint8, 40, 56, 3), "JPEG", orientation)
    expected = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    np.testing.assert_array_equal(decode(data, "a.jpg")[0], np.asarray(expected))


def test_what_the_photo_holds_is_what_decode_gives(rng):
    """Reading one channel alone gives the same as decoding all and choosing then."""
    samples = shades(rng, np.uint8, 333, 444, 3) // np.array([3, 1, 2], np.uint8)
    for data in (oriented(samples, "JPEG", 6), encoded(samples, "PNG")):
        one = photo_from_bytes(data, "a")
        other = photo_from_array(decode(data, "a")[0], "a", one.sha256)
        for field in (field for field in dataclasses.fields(one) if field.compare):
            np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name))


def test_a_file_is_its_bytes(tmp_path, rng):
    """Loading by path and from bytes give the same, and the name is the file's."""
    path = tmp_path / "été 1.png"
    path.write_bytes(encoded(shades(rng, np.uint8, 40, 50), "PNG"))
    one, other = load_photo(path), photo_from_bytes(path.read_bytes(), path.name)
    assert (one.name, one.sha256) == (path.name, other.sha256)
    np.testing.assert_array_equal(one.light, other.light)


def rendered(gains, contrast, fringes, phase) -> np.ndarray:
    """Fringes in three channels of 8 bits, encoded as a camera does, clipped where too bright."""
    x = np.linspace(0, 1, 120)
    light = (1 + contrast * np.cos(2 * np.pi * (fringes * x + phase))) / 2
    linear = np.clip(light[:, None] * np.array(gains), 0, 1)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.broadcast_to(np.round(255 * code).astype(np.uint8), (40, 120, 3))


GAIN = st.floats(0.02, 4)


@given(st.tuples(GAIN, GAIN, GAIN), st.floats(0.3, 1), st.floats(2, 9), st.floats(0, 1))
def test_clipped_channels_are_avoided(gains, contrast, fringes, phase):
    """No channel with a fifth of it clipped is taken where a whole one shows half the light."""
    picture = rendered(gains, contrast, fringes, phase)
    photo = photo_from_array(picture)
    chosen = CHANNELS.index(photo.channel)
    share = (picture >= 251).mean(axis=(0, 1))
    linear = srgb_to_linear(picture / 255)
    spread = np.ptp(linear, axis=(0, 1))
    if share[chosen] >= 0.2:
        whole = share == 0
        assert not (whole & (spread >= spread[chosen] / 2)).any()


@given(st.permutations([0.9, 0.3, 0.05]), st.floats(0.3, 1), st.floats(2, 9), st.floats(0, 1))
def test_the_brightest_whole_channel_is_taken(gains, contrast, fringes, phase):
    """Where nothing clips the channel with the strongest fringes is taken."""
    photo = photo_from_array(rendered(gains, contrast, fringes, phase))
    assert photo.channel == CHANNELS[gains.index(0.9)]


def test_a_camera_blinded_in_red():
    """Under sodium light the red is burnt out first; then the green carries the fringes."""
    photo = photo_from_array(rendered((3.0, 0.8, 0.02), 0.8, 5, 0.2))
    assert photo.channel == "green"
    assert not photo.clipped.any()


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.zeros((8, 40), np.uint8), "too few"),
        (np.zeros((40, 40), np.int64), "int64"),
        (np.zeros((40, 40, 3), bool), "bool"),
        (np.zeros((40, 40, 0), np.uint8), "not a picture"),
        (np.zeros(40, np.uint8), "not a picture"),
        (np.full((40, 40), np.nan, np.float32), "not numbers"),
        (np.full((40, 40), np.inf, np.float32), "not numbers"),
        (np.full((40, 40), -np.inf, np.float32), "not numbers"),
        (np.zeros((40, 40), np.float32), "no light"),
        (np.full((40, 40), -1.0), "no light"),
    ],
)
def test_arrays_that_are_no_pictures(samples, words):
    """An array that carries no light is refused with its name and the reason."""
    with pytest.raises(BadInput, match=f"^bench: .*{words}"):
        photo_from_array(samples, "bench")


MEASURE = """
import re, sys
from pathlib import Path
from fringe.photo.load import load_photo
def most():
    status = Path("/proc/self/status").read_text()
    return int(re.search(r"VmHWM:\\s*(\\d+) kB", status)[1]) * 1024
load_photo(sys.argv[1])  # imports what there is to import
before = most()
photo = load_photo(sys.argv[2])
print(most() - before)
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux")
def test_loading_spares_memory(tmp_path):
    """Loading 12 megapixels takes at most three times what their 8-bit colours take."""
    paths = [tmp_path / "small.jpg", tmp_path / "large.jpg"]
    for path, (height, width) in zip(paths, ((60, 80), (3000, 4000)), strict=True):
        ramp = np.linspace(20, 220, width, dtype=np.uint8)
        samples = np.broadcast_to(ramp[None, :, None], (height, width, 3))
        path.write_bytes(encoded(np.ascontiguousarray(samples), "JPEG"))
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, *map(str, paths)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert 0 < int(done.stdout) < 3 * 3 * 12_000_000


@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_a_small_copy_for_showing(rng, orientation):
    """A JPEG is decoded at a half for showing: upright, its whole size known, its light the same;
    one that is cut short is refused all the same."""
    places = np.add.outer(np.arange(300), np.arange(450))[..., None] + np.array([0, 40, 90])
    exif = Image.Exif()
    exif[0x0112] = orientation
    buffer = io.BytesIO()
    picture = Image.fromarray((127 + 100 * np.sin(places / 40)).astype(np.uint8))
    picture.save(buffer, "JPEG", quality=95, exif=exif)
    data = buffer.getvalue()
    full, _ = decode(data, "a.jpg")
    small, whole = decode_small(data, "a.jpg", 150)
    assert whole == full.shape[1::-1]
    assert small.shape[:2] == tuple(side // 2 for side in full.shape[:2])
    halves = full[:300, :300].astype(float).reshape(150, 2, 150, 2, 3).mean(axis=(1, 3))
    assert np.abs(small[:150, :150] - halves).mean() < 2
    assert decode_small(data, "a.jpg", 400)[0].shape == full.shape
    with pytest.raises(BadInput, match="damaged or cut short"):
        decode_small(data[: len(data) // 2], "a.jpg", 150)
