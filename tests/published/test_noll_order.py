"""Noll's order of the Zernike terms.

Sources
-------
READ   documentation of the package zernike 0.2.0 (docs.rs): n = 0 1 1 2 2 2 3 3 3 3 4,
       |m| = 0 1 1 0 2 2 1 1 3 3 0 for j = 1..11.
RUN    the package zernike 0.0.33 (Python): the same order; its (2,0) is sqrt(3) (2 r^2 - 1), which
       is -1.7320508 at r = 0 and +1.7320508 at r = 1.
MEMORY the formulas of the OSA and `fringe` indices, evaluated for the table.
"""

from __future__ import annotations

import math

import pytest

from fringe.optics import zernike

TABLE = [  # j, (n, m), OSA, fringe
    (4, (2, 0), 4, 4),
    (5, (2, -2), 3, 6),
    (6, (2, 2), 5, 5),
    (7, (3, -1), 7, 8),
    (8, (3, 1), 8, 7),
    (9, (3, -3), 6, 11),
    (10, (3, 3), 9, 10),
    (11, (4, 0), 12, 9),
    (12, (4, 2), 13, 12),
    (13, (4, -2), 11, 13),
]


def test_first_eleven_terms():
    """Noll's first eleven terms have the printed n and |m| (published)."""
    terms = [zernike.noll_term(j) for j in range(1, 12)]
    assert [n for n, _ in terms] == [0, 1, 1, 2, 2, 2, 3, 3, 3, 3, 4]
    assert [abs(m) for _, m in terms] == [0, 1, 1, 0, 2, 2, 1, 1, 3, 3, 0]


@pytest.mark.parametrize(("j", "term", "osa", "fringe"), TABLE)
def test_indices_of_a_term(j, term, osa, fringe):
    """A term has the tabulated Noll, OSA and fringe index (analytic)."""
    assert zernike.noll_term(j) == term
    assert zernike.noll_index(*term) == j
    assert zernike.osa_index(*term) == osa
    assert zernike.fringe_index(*term) == fringe


def test_defocus_of_the_other_package_is_ours_times_root_three():
    """Its fourth term at centre and rim is sqrt(3) times the unnormalised one (analytic)."""
    got = [math.sqrt(3) * float(zernike.zernike(*zernike.noll_term(4), r, 0.0)) for r in (0, 1)]
    assert got == pytest.approx([-1.7320508, 1.7320508], abs=5e-8)
