"""One photograph is one piece of evidence, however often it was logged.

A photograph is known by the digest of its bytes, so that a copy under another name, in another
visit or of the other piece of a pair is the same one.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from fringe.judge.tolerance.measured import Measured

# Two values contradict each other when they differ by more than this many standard
# uncertainties of their difference; 0.3 % of sound pairs do (common practice, no source).
CONTRADICTION = 3.0


def once_each(readings: Sequence[Measured]) -> tuple[list[Measured], str | None]:
    """Count each photograph once.

    Parameters
    ----------
    readings : sequence of Measured
        Readings of one contact at one visit.

    Returns
    -------
    readings : list of Measured
        The first reading of each photograph that knows its sense, in the order given. Where a
        photograph was read with both senses, its magnitude, of unknown sense.
    conflict : str or None
        That a photograph was read with both senses, in words.
    """
    groups: dict[object, list[Measured]] = {}
    for i, one in enumerate(readings):
        groups.setdefault((one.photograph, one.source) if one.photograph else i, []).append(one)
    kept, conflict = [], None
    for copies in groups.values():
        one = first_known(copies)
        if opposite(copies):
            conflict = (
                "one photograph was read with its contact at the centre and at the edge: "
                "its sense counts for neither"
            )
            one = _without_sense(one)
        kept.append(one)
    return kept, conflict


def first_known(copies: Sequence[Measured]) -> Measured:
    """The first reading of a photograph that knows its sense; else the first."""
    return next((one for one in copies if one.sense != "unknown"), copies[0])


def opposite(copies: Sequence[Measured]) -> bool:
    """Whether readings of one photograph have it touch at the centre and at the edge.

    So near zero that its own uncertainty covers both senses, it does not matter.
    """
    read = [m for m in copies if m.power_fringes is not None and m.sense != "unknown"]
    if len({m.sense for m in read}) < 2:
        return False
    powers = [m.power_fringes or 0.0 for m in read]
    u = max(m.power_u_fringes or 0.0 for m in read)
    return max(powers) - min(powers) > CONTRADICTION * math.sqrt(2) * u


def _without_sense(one: Measured) -> Measured:
    power, step = one.power, one.radius_difference
    made = one.with_power(
        None if one.power_fringes is None else abs(one.power_fringes), power and abs(power)
    )
    bare = one.radius_difference_mm
    made = made.with_radius_difference(None if bare is None else abs(bare), step and abs(step))
    return dataclasses.replace(made, sense="unknown")
