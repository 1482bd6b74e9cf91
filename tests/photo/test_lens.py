"""The lens that a camera notes, and when its note is not to be believed."""

from __future__ import annotations

import io
import math

import pytest
from PIL import Image

from fringe.photo.lens import focal_px

NOTES = {0xA405: 26, 0xA002: 400, 0xA003: 300}


def noted(notes: dict[int, object], size: tuple[int, int] = (400, 300)) -> bytes:
    """A JPEG file with notes of the camera."""
    exif = Image.Exif()
    exif.get_ifd(0x8769).update(notes)
    file = io.BytesIO()
    Image.new("L", size).save(file, "JPEG", exif=exif.tobytes())
    return file.getvalue()


def test_by_what_it_equals_on_film() -> None:
    """26 mm on a diagonal of 43.27 mm, of 500 px: as by CIPA DCG-001 (from memory)."""
    assert focal_px(noted(NOTES), 400, 300) == pytest.approx(26 / math.hypot(36, 24) * 500)
    upright = noted(NOTES, (300, 400))  # turned after the camera noted its sides
    assert focal_px(upright, 300, 400) == pytest.approx(300.4, abs=0.1)


def test_by_focal_length_and_pixels() -> None:
    """50 mm on pixels of which 2540 lie on an inch, a hundred on a millimetre."""
    notes = {0x920A: 50.0, 0xA20E: 2540.0, 0xA210: 2, 0xA002: 400, 0xA003: 300}
    assert focal_px(noted(notes), 400, 300) == pytest.approx(5000)


@pytest.mark.parametrize(
    "changed",
    [{0xA002: 4000}, {0xA404: 2.0}, {0xA405: 0}],
    ids=["cut down since", "zoomed by cutting out", "no length"],
)
def test_notes_that_tell_nothing(changed: dict[int, object]) -> None:
    """A picture that is no longer whole, a digital zoom, a lens without a length."""
    assert focal_px(noted(NOTES | changed), 400, 300) is None


def test_no_notes() -> None:
    """A picture without notes, and bytes that are none."""
    assert focal_px(noted({}), 400, 300) is None
    assert focal_px(b"nothing", 400, 300) is None
