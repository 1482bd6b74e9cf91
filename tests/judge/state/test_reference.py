"""What a surface's power counts from: its plate, or the partner that it is made to."""

from __future__ import annotations

import dataclasses

import pytest

from fringe.judge.progress import progress
from fringe.judge.state.reference import (
    PARTNER_U_UM,
    Logged,
    laid_together,
    partner_of,
    referred,
)
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours

NM = 589.29


def power(value, against=None, source="fringes", u=0.05):
    """A reading of power on a piece."""
    sense = "centre" if value > 0 else "edge"
    return Measured(value, u, sense, wavelength_nm=NM, source=source, against=against)


def visits(*measured):
    """Visits an hour apart, each with what it measured."""
    return [
        VisitRecord(str(i), hours(i), Work("polish", 30.0, "tool"), tuple(each), number=i + 1)
        for i, each in enumerate(measured)
    ]


ON_PLATE, ON_PARTNER = [power(3.0)], [power(2.0, "convex 1")]
GAUGED = [power(40.0, source="spherometer", u=3.0)]


@pytest.mark.parametrize(
    ("measured", "partner"),
    [
        ([], None),
        ([GAUGED], None),
        ([ON_PLATE], None),
        ([ON_PARTNER], "convex 1"),
        ([GAUGED, [], ON_PARTNER], "convex 1"),
        ([ON_PLATE, ON_PARTNER], None),
        ([[power(1.0, "plate 7")], ON_PARTNER], None),
        ([[power(1.0, "convex 2")], ON_PARTNER, []], "convex 1"),
    ],
)
def test_what_a_surface_is_made_to(measured, partner):
    """The partner where its fringes were read on nothing else; its plate in every other case."""
    assert partner_of(visits(*measured), "plate 7") == partner


def test_made_to_its_partner():
    """Readings on the partner alone are the surface's own, and are judged as any."""
    made = referred(visits(ON_PARTNER, [power(0.5, "convex 1")]), None)
    assert [one.own[0].power_fringes for one in made.visits] == [2.0, 0.5]
    judged = progress(made.visits, Tolerance(1.0, wavelength_nm=NM))
    assert [row.verdict for row in judged.rows] == ["outside", "inside"]
    assert made.notes == ("power is read against convex 1, the partner that it is made to",)


def test_mixed_readings_are_told_apart():
    """With readings on the plate these alone are the surface's own; which are not is said."""
    found = referred(visits(ON_PLATE, ON_PARTNER, [*ON_PLATE, *ON_PARTNER]), None)
    assert [len(one.own) for one in found.visits] == [1, 0, 1]
    assert [one.measured for one in found.visits][1:] == [(), (ON_PLATE[0],)]
    (note,) = found.notes
    assert note == "visits 2, 3: read on convex 1, which counts for the pair (`fringe pair`)"


def test_readings_from_before_the_partner_was_worked():
    """Work on the partner moves the zero: what was read before it is left out, and named."""
    found = referred(visits(ON_PARTNER, ON_PARTNER, ON_PARTNER), None, partner_worked=hours(1.5))
    assert [len(one.own) for one in found.visits] == [0, 0, 1]
    assert "visits 1, 2 left out: convex 1 was worked since" in found.notes


def test_a_plate_is_never_worked():
    """A time of work on a partner does not touch readings on the plate."""
    rows = visits(ON_PLATE)
    assert referred(rows, None, partner_worked=hours(5)).visits == tuple(rows)


def test_a_spherometer_beside_a_partner():
    """Before the first contact it counts as it is; after it, with the partner's own difference.

    Analytic: 3 um are 3000 / (589.29 / 2) fringes, added in quadrature.
    """
    rows = visits(GAUGED, ON_PARTNER, GAUGED, [*GAUGED, *ON_PARTNER])
    first, second, third, fourth = referred(rows, None).visits
    assert first.own == tuple(GAUGED)
    assert [one.source for one in second.own] == ["fringes"]
    assert [one.source for one in fourth.own] == ["fringes"]
    wide = PARTNER_U_UM * 1e3 / (NM / 2)
    assert third.own[0].power_u_fringes == pytest.approx((wide**2 + 9.0) ** 0.5)
    assert third.own[0].power_fringes == 40.0


def test_nothing_else_of_a_visit_changes():
    """Times, work and numbers stay as they were."""
    rows = visits(ON_PARTNER, GAUGED, [])
    for old, new in zip(rows, referred(rows, None).visits, strict=True):
        assert dataclasses.replace(new, measured=()) == dataclasses.replace(old, measured=())


def test_what_was_read_of_two_pieces_together():
    """Contacts that either logged are the piece's own, those of the other with the radius reversed.

    Power is of the two: the same from either side. Readings on plates do not count.
    """
    mine = visits([power(3.0, "convex 1")], ON_PLATE)
    step = dataclasses.replace(power(1.0, "concave 1"), radius_difference_mm=-0.5)
    theirs = [VisitRecord("c", hours(1.5), measured=(step, power(9.0)))]
    found = laid_together(Logged("concave 1", "P7", mine), Logged("convex 1", "P8", theirs))
    assert [row.session_id for row in found] == ["0", "1", "c"]
    assert [[one.power_fringes for one in row.own] for row in found] == [[3.0], [], [1.0]]
    assert found[2].own[0].radius_difference_mm == 0.5
    assert not found[2].work.worked


def test_a_plate_that_is_the_other_piece():
    """A reading on the plate is one of the two where the plate is the other piece."""
    mine = visits(ON_PLATE)
    found = laid_together(Logged("concave 1", "convex 1", mine), Logged("convex 1", None, []))
    assert [one.power_fringes for one in found[0].own] == [3.0]


def test_contacts_from_before_the_other_was_worked():
    """Work on the other piece moves the zero: earlier contacts of either do not count."""
    mine = visits([power(3.0, "convex 1")], [power(2.0, "convex 1")])
    theirs = [VisitRecord("c", hours(0.5), Work("polish", 5.0), (power(7.0, "concave 1"),))]
    found = laid_together(Logged("concave 1", None, mine), Logged("convex 1", None, theirs))
    assert [[one.power_fringes for one in row.own] for row in found] == [[], [7.0], [2.0]]
    assert [row.work.worked for row in found] == [True, False, True]
