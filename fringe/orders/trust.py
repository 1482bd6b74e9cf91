"""Whether a fit deserves belief: refusals and warnings, each with its reason."""

from __future__ import annotations

from fringe.errors import Refused
from fringe.orders.solve import Solution
from fringe.photo.load import Photo


def judge_fit(photo: Photo, solution: Solution) -> list[str]:
    """Refuse a fit that cannot be trusted; return warnings for one that can.

    Raises
    ------
    Refused
        With what to do.
    """
    fit = solution.fit
    warnings = []
    if fit.explained < 0.3:
        raise Refused(
            f"{photo.name}: no fringes that a gap between two spheres would make;"
            " check lamp, focus and edge"
        )
    if solution.covered * fit.used < 0.6:
        warnings.append(f"only {100 * solution.covered * fit.used:.0f} % of the aperture was used")
    return warnings
