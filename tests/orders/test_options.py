"""What a photograph is read with, kept beside its reading and read back."""

from __future__ import annotations

import dataclasses
import math

import pytest

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.photo.edge_text import edge_from_text, text_of_edge
from fringe.photo.ellipse import Edge


@pytest.mark.parametrize(
    "text", ["100,90.5,80", "100,90.5,80.00", "1,2,30,20,10", "1.25,2,30.0,20.5,-10.125"]
)
def test_a_typed_edge_is_kept_as_it_was_typed(text):
    """An edge that was typed is written and read back with the digit that it was known to."""
    edge = edge_from_text(text)
    assert edge_from_text(text_of_edge(edge)) == edge
    kept = ReadOptions(lamp("sodium"), edge=edge).to_json()
    assert kept.keys() == {"lamp", "edge", "sense", "work"}


def test_any_edge_is_read_back(rng):
    """An edge of any size and uncertainty comes back from the kept form, to ten figures."""
    for _ in range(50):
        b, a = sorted(rng.uniform(20.0, 3000.0, 2))
        numbers = (*rng.uniform(-100.0, 4000.0, 2), a, b, rng.uniform(-90.0, 90.0))
        edge = Edge(*map(float, numbers), u_px=float(10 ** rng.uniform(-3, 1)))
        options = ReadOptions(lamp("hene"), edge=edge)
        back = ReadOptions.from_json(options.lamp, options.to_json()).edge
        assert isinstance(back, Edge)
        for name, value in vars(edge).items():
            assert math.isclose(getattr(back, name), value, rel_tol=1e-10), name


def test_all_that_is_said_is_read_back():
    """Every field of the options survives the kept form."""
    options = ReadOptions(
        lamp("hene"), "none", 150.0, 3048.6, "concave", 900.0, "edge", 4.0, 0.1, 0.3, "plate 7"
    )
    options = dataclasses.replace(options, gap_um=2.0, u_gap_um=0.5, plate_back="flat")
    assert ReadOptions.from_json(options.lamp, options.to_json()) == options


def test_nonsense_is_refused():
    """A kept form that another program wrote is refused with its reason."""
    with pytest.raises(BadInput, match="cannot be used"):
        ReadOptions.from_json(lamp("hene"), {"diameter_mm": "wide"})
