"""A quick look at frames of a live view, drawn by a law that is not the simulator's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from live_frames import KINDS, Frame, draw, drawn, jpeg, told_rightly

from fringe.bench.live import fringes_move, hints
from fringe.orders.look import look, movement
from fringe.photo.load import photo_from_bytes


def seen(frame):
    return look(photo_from_bytes(jpeg(draw(frame)), "frame"))


@pytest.fixture(scope="module")
def clear():
    """A frame where all is well, small so that it is quickly drawn."""
    return Frame(640, 480, 300.0, 250.0, 190.0, 4.0, noise=0.01)


def test_what_is_the_matter_is_told(rng):
    """(analytic) Of frames with one thing the matter that thing is told, and of clear ones none."""
    told = {kind: [one.key for one in hints(seen(drawn(kind, rng)), None)] for kind in KINDS}
    right = sum(told_rightly(kind, keys) for kind, keys in told.items())
    assert right >= len(KINDS) - 1, told  # 56 of 60 in the study `looks.py`


def test_edge_and_spacing_are_measured(clear):
    """(analytic) The outline within 3 %, how much of it is out of view, the finest spacing."""
    whole = seen(clear)
    assert whole.edge is not None
    assert np.hypot(whole.edge.cx - 300, whole.edge.cy - 250) < 0.03 * 190
    assert whole.edge.a == pytest.approx(190, rel=0.03)
    assert whole.beyond == 0
    out = seen(replace(clear, cx=100.0))
    # an arc of 2 acos(100 / 190) lies to the left of the frame
    assert out.beyond == pytest.approx(np.arccos(100 / 190) / np.pi, abs=0.05)
    # at the rim the order rises by 2 N a radius; its gradient has that share over a tenth of them
    fine = seen(replace(clear, power=25.0, tilt=(0.0, 0.0)))
    assert fine.finest_px == pytest.approx(190 / 50, rel=0.15)


def test_fringes_that_move_are_told_from_a_camera_that_moves(clear):
    """A phase that goes on is the fringes', a work that goes aside is the camera's."""
    first = seen(clear)
    still = movement(first, seen(replace(clear, seed=1)))
    pressed = movement(first, seen(replace(clear, seed=2, phase=clear.phase + 0.15)))
    shaken = movement(first, seen(replace(clear, seed=3, cx=clear.cx + 12)))
    assert not fringes_move(first, still)
    assert fringes_move(first, pressed)
    assert "shaken" in [one.key for one in hints(first, shaken)]
    assert not fringes_move(first, shaken)
    plain = seen(replace(clear, work=False, table=0.3))
    assert movement(first, plain) is None
