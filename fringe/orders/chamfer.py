"""What a chamfer at the rim of a work makes of its diameter.

A work's diameter is measured over all, with a caliper; the face that shows fringes ends at the
chamfer, a width inside the rim all round. The edge of a contact, found or given, is the rim of the
face, and the aperture is the face: power is quoted, and turned into a difference of radii, over
its diameter.
"""

from __future__ import annotations

import math

from fringe.errors import BadInput

# Standard uncertainty of a width that was told, as its share: chamfers are made by hand, and are
# seldom alike all round (ours, no source)
_TOLD_SHARE = 0.1
# Where nothing is said of a chamfer one may be there that is as wide as protective chamfers are at
# least: of pieces up to so large, so wide [mm] (ISO 10110-11, pieces without indication; from
# memory)
_NARROW_MM = ((10.0, 0.1), (30.0, 0.2), (100.0, 0.3), (math.inf, 0.5))


def face_mm(outside_mm: float, chamfer_mm: float | None) -> float:
    """Diameter of the face inside a chamfer, which is the aperture [mm].

    Parameters
    ----------
    outside_mm : float
        Diameter over all [mm].
    chamfer_mm : float or None
        Width of the chamfer, from the rim of the work to that of the face, seen from above [mm];
        None where nothing was said, so that the diameter is taken for the face's.

    Raises
    ------
    BadInput
        If no face is left.
    """
    if chamfer_mm is None:
        return outside_mm
    if not 0 <= chamfer_mm < math.inf:
        raise BadInput(f"--chamfer: {chamfer_mm:g} mm is no width; it is zero or more")
    if not 2 * chamfer_mm < outside_mm / 2:
        raise BadInput(
            f"--chamfer: {chamfer_mm:g} mm all round leave no work of {outside_mm:g} mm; give the"
            " width of the bevel alone, and the diameter over all"
        )
    return outside_mm - 2 * chamfer_mm


def u_face_mm(face_mm: float, chamfer_mm: float | None, u_stated_mm: float = 0.0) -> float:
    """Standard uncertainty of the face's diameter, with what is known of the chamfer [mm].

    Parameters
    ----------
    face_mm : float
        Diameter of the face [mm].
    chamfer_mm : float or None
        As of :func:`face_mm`. Of one that was not told the width is as likely anything from
        nothing to that of a narrow protective chamfer, w: ``2 w / sqrt(3)``, the root of the
        mean square of what the diameter is then off by.
    u_stated_mm : float
        Of the diameter, where it was stated: it stands for all that is not known of it [mm].
    """
    if chamfer_mm is not None:
        return math.hypot(u_stated_mm, 2 * _TOLD_SHARE * chamfer_mm)
    if u_stated_mm > 0:
        return u_stated_mm
    return 2 * next(width for most, width in _NARROW_MM if face_mm <= most) / math.sqrt(3)
