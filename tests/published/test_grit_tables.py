"""Grain sizes of grits, against tables that print them.

Seen by us: the FEPA F table of equalle ("F220, 50 % point 50.0 to 56.0 um"), and the FEPA P
table of polyclaykunst (P600 about 26, P800 22, P1200 15, P1500 12, P2000 10, P4000 5 um). All
other sizes in the table are from memory and not checked here.
"""

from __future__ import annotations

import pytest

from fringe.judge.state.abrasives import abrasives_table, stage

PRINTED_P = {600: 26, 800: 22, 1200: 15, 1500: 12, 2000: 10, 4000: 5}


def test_f220_lies_in_its_printed_range() -> None:
    """(published) The grain of F220 lies between the printed ends of its 50 % point."""
    assert 50.0 <= (stage("F220").size_um or 0) <= 56.0


@pytest.mark.parametrize(("number", "size_um"), PRINTED_P.items())
def test_p_grits_are_as_printed(number: int, size_um: float) -> None:
    """(published) Each P grit has its printed size, to the micrometre that is printed."""
    assert stage(f"P{number}").size_um == pytest.approx(size_um, abs=0.5)


def test_pits_are_two_to_three_grains_deep() -> None:
    """(published) The factor lies in the range that the lesson prints, at its careful end.

    learn.americom.org, optics lesson 2, seen by us: lapping cracks "can extend two to three
    times the abrasive particle diameter".
    """
    table = abrasives_table()["pits"]
    assert table["range"] == [2.0, 3.0]
    assert table["factor"] == max(table["range"])
