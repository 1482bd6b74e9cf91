"""Readings of a spherometer on the command line, and how well one is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fringe.cli._bench import last_digit_mm

if TYPE_CHECKING:
    from fringe.optics.spherometer import Spherometer


def reading_u(
    groups: list[list[tuple[float, str]]], given: float | None, one: Spherometer | None
) -> tuple[float, str | None]:
    """Standard uncertainty of a reading [mm], and what was assumed if nobody said.

    Parameters
    ----------
    groups : list of list of (float, str)
        Readings [mm] with their text, as they were typed.
    given : float or None
        What was given for it [mm].
    one : Spherometer or None
        The spherometer, whose record may know it.
    """
    if given is not None:
        return given, None
    if one is not None and one.u_reading_mm is not None:
        return one.u_reading_mm, None
    counts = [last_digit_mm(text) for group in groups for _, text in group]
    known = [count for count in counts if count is not None]
    if not known:
        return 0.0, None
    finest = min(known)
    return finest / math.sqrt(3), (
        f"each reading is taken as good to ±{finest * 1000:g} µm, one count of its last digit"
    )
