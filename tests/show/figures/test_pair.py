from __future__ import annotations

import pytest

from fringe.judge.pair.contacts import Contact, Piece
from fringe.judge.pair.match import match
from fringe.judge.pair.next_step import next_step
from fringe.judge.tolerance.verdict import Tolerance
from fringe.show.figures.pair import pair_figure

WAVE = 589.3


def made(power=0.5, names=("convex", "concave"), count=1, tolerance=2.0, off=0.0):
    convex, concave = (
        Piece(name, form, 3048.0, 150.0)
        for name, form in zip(names, ("convex", "concave"), strict=True)
    )
    contacts = [
        Contact(
            f"{names[1]} on {names[0]}, {i}",
            names[1],
            names[0],
            power + (off if i == 0 else 0.0),
            0.05,
            150.0,
            WAVE,
        )
        for i in range(count)
    ]
    limit = None if tolerance is None else Tolerance(tolerance, wavelength_nm=WAVE)
    return match(convex, concave, [], contacts, [], wavelength_nm=WAVE, tolerance=limit)


def test_the_mismatch_is_drawn_with_its_interval():
    """The mark stands at the mismatch, its bar is the 95 % interval, the band the tolerance."""
    pair = made()
    axes = pair_figure(pair, next_step(pair)).axes[0]
    point, _, (bar,) = axes.containers[0].lines
    assert point.get_xdata()[0] == pytest.approx(pair.mismatch_mm)
    low, high = bar.get_segments()[0][:, 0]
    assert (high - low) / 2 == pytest.approx(1.96 * pair.u_mismatch_mm, rel=1e-3)


def test_each_piece_of_evidence_has_a_mark():
    """Contacts and certificates have a mark each; what is far off stands at the edge, in red."""
    pair = made(count=4, off=3.0)
    axes = pair_figure(pair, next_step(pair)).axes[1]
    marks = [line for line in axes.lines if line.get_marker() in "o<>"]
    assert len(marks) == 4
    assert [line.get_marker() for line in marks].count(">") == 1


@pytest.mark.parametrize(
    "case",
    [
        {},
        {"tolerance": None},
        {"power": 60.0},
        {"count": 25},
        {"count": 3, "off": 4.0},
        {"names": ("convex " * 20, "concave " * 20), "count": 2},
    ],
)
def test_extremes_stay_clean(assert_clean, case):
    """No text overlaps or clips, with one piece of evidence or many, long names and none proven."""
    pair = made(**case)
    texts = " ".join(assert_clean(pair_figure(pair, next_step(pair), when="2026-03-14")))
    for fact in ("convex", "2026-03-14", "aperture ⌀ 150 mm", "λ = 589.3 nm"):
        assert fact in texts
