"""A mercury lamp without a filter: read in the channel in which one line dominates."""

from __future__ import annotations

import io
from contextlib import nullcontext

import numpy as np
import pytest
from mercury_drawn import Bench, camera, drawn
from PIL import Image

import fringe
from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.optics.mixed_lamps import channel_light
from fringe.orders.fit.model import OrderModel
from fringe.orders.mixed_lamp import refuse_where_lines_cancel
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array, photo_from_bytes

MERCURY = lamp("mercury")


def centred(bench: Bench) -> tuple[float, float, float]:
    """Its edge, in the middle of the picture."""
    middle = (int(2.5 * bench.radius_px) - 1) / 2
    return middle, middle, bench.radius_px


def test_powers_are_right_within_their_intervals(rng: np.random.Generator) -> None:
    """Cameras and lamps of a range, three to twelve fringes: power within U, and said to be green.

    Two misses of four have a chance of 1 in 70 where 95 of 100 hold.
    """
    held = 0
    for power in (3.0, 5.0, 8.0, 12.0):
        mix, gains = camera(rng)
        bench = Bench(power, rng.uniform(0.3, 2.5), mix, gains, 150.0, rng.uniform(0, 2))
        data = drawn(bench, rng)
        reading = fringe.read(data, lamp="mercury", edge=centred(bench), sense="centre")
        assert reading.power_fringes is not None
        assert reading.power_u95_fringes is not None
        held += abs(reading.power_fringes - power) <= reading.power_u95_fringes < 0.3
        values = reading.to_json()
        assert values["wavelength_nm"] == pytest.approx(546.0735)
        warnings = values["quality"]["warnings"]  # type: ignore[index]
        assert any("read in the green channel: 546.1 nm" in one for one in warnings)
        assert reading.power_u_parts["lines"] > 0
    assert held >= 3


def test_a_clipped_green_is_read_in_the_blue(rng: np.random.Generator) -> None:
    """Where the green channel is over-exposed all over, the blue line is counted."""
    mix, _ = camera(rng)
    bench = Bench(4.0, 1.0, mix, np.array([0.02, 0.02, 1.0]) / mix.sum(axis=1).max(), 150.0)
    reading = fringe.read(drawn(bench, rng), lamp=MERCURY, edge=centred(bench), sense="centre")
    assert reading.wavelength_nm == pytest.approx(435.8328)
    assert any("read in the blue channel: 435.8 nm" in one for one in reading.quality.warnings)
    expected = 4.0 * 546.0735 / 435.8328  # the same gap (analytic)
    assert reading.power_fringes == pytest.approx(expected, abs=reading.power_u95_fringes)


def test_a_grey_photograph_is_refused(rng: np.random.Generator) -> None:
    """Nothing in it tells the lines apart; the remedy is named."""
    grey = photo_from_array(np.asarray(rng.uniform(0, 255, (200, 200)), np.uint8), "grey.png")
    with pytest.raises(Refused, match=r"grey.png: is grey, and mercury .* --lamp mercury-green"):
        fringe.read(grey, lamp="mercury")


@pytest.mark.parametrize(
    ("power", "around", "radius", "refused"),
    [
        (9.0, 0.5, 80.0, True),
        (9.0, 0.1, 80.0, False),
        (9.0, 0.1, 75.0, True),
        (4.0, 0.1, 75.0, False),
    ],
)
def test_an_edge_where_the_lines_cancel(
    power: float, around: float, radius: float, refused: bool
) -> None:
    """Half a beat from the contact fringes fade: no edge, where the light goes on beyond it."""
    y, x = np.indices((260, 260)) - 129.5
    light = np.where(np.hypot(x, y) < 80, 0.5, around)
    photo = photo_from_array(light, "nine orders")
    model = OrderModel(((0, 0), (2, 0)), np.array([0.0, power / 2]))
    seen = channel_light(MERCURY, "green")
    edge = Edge(129.5, 129.5, radius, radius)
    with pytest.raises(Refused, match="lines cancel near the edge") if refused else nullcontext():
        refuse_where_lines_cancel(photo, edge, model, seen)


def test_what_runs_ahead() -> None:
    """Two lines: near the contact by their mean slope, at half a beat by nothing (analytic).

    With a neighbour of strength q the phase of 1 + q exp(i x) is q / (1 + q) x for small x, and 0
    or pi at x = pi.
    """
    seen = channel_light(MERCURY, "green")
    assert seen.lamp.wavelength_nm == pytest.approx(546.0735)
    assert 0.1 < seen.share < 0.5
    small = 1e-4
    apart = 546.0735 / seen.neighbours_nm - 1
    slope = seen.shares @ apart / (1 + seen.shares.sum(axis=1))
    assert seen.run_ahead(np.array([small]))[:, 0] == pytest.approx(slope * small, rel=1e-3)
    assert seen.contrast(np.zeros(1)) == pytest.approx(1.0)


def test_another_channel_of_a_photograph(rng: np.random.Generator) -> None:
    """A channel taken later is that of the samples; a grey photograph has none."""
    samples = np.asarray(rng.uniform(0, 255, (40, 50, 3)), np.uint8)
    file = io.BytesIO()
    Image.fromarray(samples).save(file, "PNG")
    for photo in (photo_from_array(samples), photo_from_bytes(file.getvalue(), "a.png")):
        for index, channel in enumerate(("red", "green", "blue")):
            alone = photo_from_array(samples[..., index])
            np.testing.assert_array_equal(photo.in_channel(channel).light, alone.light)
            assert photo.in_channel(channel).channel == channel
        assert set(photo.variations()) == {"red", "green", "blue"}
    grey = photo_from_array(samples[..., 0])
    assert grey.in_channel("green") is grey
    assert grey.variations() == {}
