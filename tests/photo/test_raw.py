"""DNG photographs, written tag by tag (DNG 1.4, from memory)."""

from __future__ import annotations

import io
import sys

import numpy as np
import pytest
import tifffile

from fringe.errors import BadInput
from fringe.photo.decode import decoded
from fringe.photo.kinds import is_dng
from fringe.photo.load import photo_from_bytes

BLACK, WHITE = 64, 4095


def dng() -> bytes:
    """A sensor of 160 x 120 under light that grows from left to right, over full at the end."""
    light = np.clip(np.linspace(0, 1.1, 160), 0, 1)
    raw = np.tile(BLACK + (WHITE - BLACK) * light, (120, 1)).astype(np.uint16)
    matrix = (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)
    tags = [
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50708, "s", 0, "Bench", True),
        (50714, "H", 1, BLACK, True),
        (50717, "I", 1, WHITE, True),
        (50721, "2i", 9, matrix, True),
        (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),
        (50778, "H", 1, 21, True),
    ]
    file = io.BytesIO()
    tifffile.imwrite(file, raw, photometric=32803, extratags=tags, metadata=None)
    return file.getvalue()


def test_a_dng_is_developed_without_a_tone_curve() -> None:
    """Light is linear from the black level to the white one, where it counts as clipped."""
    photo = photo_from_bytes(dng(), "a.dng")
    assert (photo.width, photo.height, photo.bits) == (160, 120, 16)
    expected = np.clip(np.linspace(0, 1.1, 160), 0, 1)
    np.testing.assert_allclose(photo.light[60, 4:140], expected[4:140], atol=0.003)
    assert photo.clipped[60, -8:].all()
    assert not photo.clipped[60, :140].any()


def test_a_plain_tiff_is_no_dng() -> None:
    """Only the version's tag makes one."""
    file = io.BytesIO()
    tifffile.imwrite(file, np.zeros((40, 40), np.uint16))
    assert (is_dng(dng()), is_dng(file.getvalue()), is_dng(b"II*\0")) == (True, False, False)


def test_what_cannot_be_developed_is_said_in_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file cut short, and one without the decoder."""
    with pytest.raises(BadInput, match=r"a\.dng: is a DNG that cannot be developed"):
        decoded(dng()[:400], "a.dng")
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(BadInput, match=r"a\.dng: is a DNG, .* extra `raw`"):
        decoded(dng(), "a.dng")
