"""One photograph is one piece of evidence, however often it was logged at a visit."""

from __future__ import annotations

import hashlib

import pytest

from fringe.judge.state.combine import combine, together
from fringe.judge.tolerance.measured import Measured
from fringe.judge.uncertainty.sources import Bench, measured_of
from fringe.orders.reading import Quality, Reading

WAVE = 589.29


def digest(name):
    """SHA-256 of the bytes of a photograph of this name."""
    return hashlib.sha256(name.encode()).hexdigest()


def one(power, photograph, u=0.1, sense="centre", **fields):
    """A reading of a photograph."""
    return Measured(power, u, sense, wavelength_nm=WAVE, photograph=photograph, **fields)


def test_a_copy_at_one_visit_counts_once():
    """Analytic: a photograph read twice and another one make the mean of two, not of three."""
    first, second = one(1.0, digest("a")), one(2.0, digest("b"))
    assert combine([first, first, second]) == combine([first, second])
    assert combine([first, first]) == first
    assert combine([first, first, second]).power_fringes == pytest.approx(1.5)


def test_a_copy_of_unknown_sense_counts_as_the_one_that_knows_it():
    """A photograph read again without its sense leaves its sense as it was read."""
    known, unknown = one(-2.0, digest("a"), sense="edge"), one(2.0, digest("a"), sense="unknown")
    assert combine([unknown, known]) == known


def test_both_senses_of_one_photograph_are_never_averaged():
    """Of a photograph read at +2 and at -2 the magnitude is left, and the contradiction named."""
    both = [one(2.0, digest("a")), one(-2.0, digest("a"), sense="edge")]
    found = together(both)
    assert (found.value.power_fringes, found.value.sense) == (2.0, "unknown")
    assert "one photograph was read with its contact at the centre and at the edge" in (
        found.conflict or ""
    )


def test_both_senses_near_zero_are_no_contradiction():
    """Within its own uncertainty of zero, the sense of a photograph does not matter."""
    both = [one(0.05, digest("a")), one(-0.05, digest("a"), sense="edge")]
    assert together(both).conflict is None


@pytest.mark.parametrize("name", ["", "by eye: 3 rings, centre", "array"])
def test_what_is_no_photograph_is_no_copy(name):
    """Readings by eye, and of arrays, are known by no digest and count each for itself."""
    reading = Reading(
        WAVE, Quality(0.6, 0.9, 0.05), power_fringes=2.0, power_u95_fringes=0.1, reading_id=name
    )
    assert measured_of(reading, Bench()).photograph == ""


@pytest.mark.parametrize("name", [digest("a"), f"{digest('a')} and 5 more frames"])
def test_a_photograph_is_known_by_its_digest(name):
    """The digest of a photograph, or of a burst's first frame, goes with what was measured."""
    reading = Reading(
        WAVE, Quality(0.6, 0.9, 0.05), power_fringes=2.0, power_u95_fringes=0.1, reading_id=name
    )
    assert measured_of(reading, Bench()).photograph == name
