"""Film clips: which frames are taken, and that they come out as they were filmed."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from filming import film
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import gaussian_filter

from fringe.errors import BadInput
from fringe.photo.clip import frames_of_clip
from fringe.photo.clip_frames import choose_frames
from fringe.photo.decode import decoded
from fringe.photo.frames import frame_files
from fringe.photo.kinds import is_clip, is_heif
from fringe.photo.when import camera_time

FRAMES = 60
SHAKEN = (12, 13, 14, 40)
HAND = (27, 28, 29)


def filmed(rng: np.random.Generator) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Straight fringes that move there and back while the light flickers, and their phase."""
    y, x = np.mgrid[:60, :80]
    phase = 2 * np.pi * 1.3 * np.sin(np.linspace(0, np.pi / 2, FRAMES))
    frames = []
    for k in range(FRAMES):
        light = 100 + 60 * np.cos(0.5 * x + 0.1 * y + phase[k])
        if k in SHAKEN:
            light = gaussian_filter(light, 2.5)
        if k in HAND:
            light[20:, 30:55] = 70
        light = (1 + 0.1 * np.sin(k)) * light + rng.normal(0, 1.5, light.shape)
        frames.append(light.astype(np.float32))
    return np.stack(frames), phase


def test_sharp_and_still_frames_are_spread_over_the_fringes(rng: np.random.Generator) -> None:
    """Eight frames, none shaken or with a hand in view, no third of a turn between two phases."""
    frames, phase = filmed(rng)
    chosen = choose_frames(frames, 8)
    assert len(chosen) == 8
    assert chosen == sorted(chosen)
    assert not set(chosen) & {*SHAKEN, *HAND}
    turned = np.sort(phase[chosen] % (2 * np.pi))
    gaps = np.diff(np.append(turned, turned[0] + 2 * np.pi))
    assert gaps.max() < 2 * np.pi / 3


def test_a_few_frames_are_all_taken(rng: np.random.Generator) -> None:
    """No more than are wanted leave nothing to choose."""
    assert choose_frames(filmed(rng)[0][:7], 8) == list(range(7))


def test_frames_come_out_as_they_were_filmed(tmp_path: Path) -> None:
    """Greys by the curve of ITU-R BT.709 keep their light; each frame has its own time."""
    light = np.linspace(0.02, 0.9, 128)
    coded = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    grey = np.tile(np.rint(255 * coded).astype(np.uint8), (96, 1))
    begun = datetime.fromisoformat("2026-03-14T09:30:00+00:00")
    clip = film(tmp_path / "grey.mp4", [np.stack([grey] * 3, axis=2)] * 6, begun=begun)
    frames = frames_of_clip(clip)
    assert len(frames) == 6
    samples = decoded(frames[3].data, frames[3].name).samples()
    assert samples.shape == (96, 128, 3)
    srgb = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    assert np.abs(samples[48, :, 1] - 255 * srgb).max() < 5
    (tmp_path / frames[3].name).write_bytes(frames[3].data)
    taken = camera_time(tmp_path / frames[3].name)
    assert taken is not None
    assert abs(taken - begun - timedelta(seconds=0.1)) < timedelta(seconds=0.01)


def test_ten_bits_are_kept(tmp_path: Path) -> None:
    """A clip of ten bits gives TIFF frames with more steps than eight bits hold."""
    ramp = np.repeat(np.linspace(0, 65535, 640).astype(np.uint16)[None, :], 64, axis=0)
    clip = film(tmp_path / "deep.mkv", [np.stack([ramp] * 3, axis=2)] * 5, deep=True)
    frame = frames_of_clip(clip)[0]
    samples = decoded(frame.data, frame.name).samples()
    assert samples.dtype == np.uint16
    assert np.unique(samples[..., 1]).size > 400


def test_kinds_by_their_first_bytes(tmp_path: Path) -> None:
    """Clips and HEIC pictures begin alike, and are told apart by their brands."""
    black = [np.zeros((64, 64, 3), np.uint8)] * 2
    for name in ("a.mp4", "a.mov", "a.mkv", "a.avi"):
        assert is_clip(film(tmp_path / name, black).read_bytes()[:12])
    heic = b"\0\0\0\x18ftypheic"
    assert (is_clip(heic), is_heif(heic)) == (False, True)
    assert not is_clip(b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01")


def test_what_is_no_usable_clip_is_refused_in_a_line(tmp_path: Path) -> None:
    """A clip cut short, one beside another file, and one that is taken for a photograph."""
    clip = film(tmp_path / "press.mp4", [np.zeros((64, 64, 3), np.uint8)] * 3)
    short = tmp_path / "short.mp4"
    short.write_bytes(clip.read_bytes()[:60])
    with pytest.raises(BadInput, match=r"short\.mp4: .*cannot be decoded; copy it"):
        frames_of_clip(short)
    picture = tmp_path / "a.png"
    Image.new("L", (64, 64)).save(picture)
    with pytest.raises(BadInput, match=r"press\.mp4: is a clip; give one clip by itself"):
        frame_files([picture, clip])
    with pytest.raises(BadInput, match=r"press\.mp4: is a film clip; .* --burst"):
        decoded(clip.read_bytes(), clip.name)
