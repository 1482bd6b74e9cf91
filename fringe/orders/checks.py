"""Whether a fit can be trusted: refusals and warnings, each with its reason."""

from __future__ import annotations

from fringe.errors import Refused
from fringe.format import figures
from fringe.optics.view import USUAL_INDEX, lost_through_flat_back
from fringe.orders.agreement import Patches
from fringe.orders.doubts import MOST_UNEXPLAINED
from fringe.orders.fit.solve import Solution
from fringe.orders.reading import Reading
from fringe.photo.load import Photo

# Two beams of nearly equal strength give a cosine. Clipping, tone curves and a few beams
# more add overtones of up to a fifth; sharp rings and printed lines have far more.
_MOST_OVERTONE = 0.3
_SOME_OVERTONE = 0.18
# sharpness of bright lines: tone curves make 0.2 of a cosine, rings of equal inclination 0.7 to 0.9
_BRIGHT_LINES = 0.5
# residual, as a share of the fringes' median amplitude: bright and sharp ones have 0.2 at most
_FAINT = 0.28
# of the face that a fit's weights keep, and that patches leave unexplained
_ALL_USED, _LEAST_LEFT = 0.98, 0.005
# Correlation of a picture with its fit that bears out an odd form: of dirty works 0.94 to 1.00, of
# rings of equal inclination 0.6, of moire 0.7
_ALIKE = 0.85
_RIVAL = 0.2  # irregularity by which another form that explains the light differs [fringe]
MUCH_DOUBT = 0.1  # of the power, for the light [fringe]
_STEEP = 0.005  # share of power that a plate's flat back would hide


def judge_fit(photo: Photo, solution: Solution) -> list[str]:
    """Refuse a fit that cannot be trusted; return warnings for one that can.

    Raises
    ------
    Refused
        With what to do.
    """
    fit = solution.fit
    warnings = []
    if fit.explained < 0.25 or fit.used < 0.5:
        raise Refused(
            f"{photo.name}: no fringes that a gap between two spheres would make;"
            " check lamp, focus and edge"
        )
    if fit.overtone > _MOST_OVERTONE and solution.span > 1.5:
        raise Refused(
            f"{photo.name}: the lines are not fringes of two beams, whose light varies as a"
            " cosine; photograph contact fringes, without clipping"
        )
    if fit.overtone > _SOME_OVERTONE:
        warnings.append("the fringes' profile is not a cosine: over-exposed, or no contact fringes")
    if fit.sharpness < -_BRIGHT_LINES:
        warnings.append(
            "thin bright lines on dark, as of light through two mirrors: check that these"
            " are contact fringes"
        )
    if fit.mean_contrast > 1.15:
        warnings.append("the fringes' contrast is higher than light can have; check the edge")
    if fit.rms > _FAINT:
        warnings.append(
            "the fringes are faint, or not followed everywhere: look at --picture, and focus on"
            " the gap"
        )
    warnings += _local_warnings(solution)
    if solution.span < 1.0:
        warnings.append(
            "fewer than one fringe in all: tilt the work until three to five straight fringes"
            " show, and read their bow"
        )
    if solution.light_doubt > MUCH_DOUBT:
        warnings.append(
            "light that varies looks like the few fringes: tilt the work until more show,"
            " or spread the light"
        )
    if solution.covered * fit.used < 0.6:
        warnings.append(f"only {100 * solution.covered * fit.used:.0f} % of the aperture was used")
    return warnings


def _local_warnings(solution: Solution) -> list[str]:
    """Warn of places that the fit does not follow, and of a form that may be another there."""
    warnings = []
    if solution.unexplained > MOST_UNEXPLAINED:
        warnings.append(
            f"over {100 * solution.unexplained:.0f} % of the face the fringes are not those of the"
            " fit: a zone, a bump, dirt, or a wrong order: look at --picture"
        )
    elif solution.missed:
        warnings.append(
            f"on {figures(100 * solution.missed, 2)} % of the face a bump, a hole or dirt is not"
            " followed: irregularity may be larger: look at --picture"
        )
    if solution.rival_shift[1] > _RIVAL:
        warnings.append(
            f"a bump or a hole may be {figures(solution.rival_shift[1], 2)} fringe higher or lower:"
            " either explains the light"
        )
    return warnings


def is_of_odd_form(reading: Reading) -> bool:
    """Tell whether the form is one that two polished spheres hardly have."""
    size = abs(reading.power_fringes or 0.0) + (reading.tilt_fringes or 0.0)
    symmetric = reading.symmetric_irregularity_fringes or 0.0
    return (reading.irregularity_fringes or 0.0) > 0.5 + 0.25 * size or symmetric > max(
        0.5, 0.12 * abs(reading.power_fringes or 0.0)
    )


def is_followed(solution: Solution) -> bool:
    """Tell whether a fit follows the fringes all over the face: hardly anything is left out."""
    whole = solution.fit.used > _ALL_USED and solution.unexplained < _LEAST_LEFT
    return whole and not solution.miscounted


def is_borne_out(solution: Solution, patches: Patches) -> bool:
    """Tell whether all that dirt leaves to be seen agrees with a fit: fringes, and their count.

    How much is hidden does not matter, unless a part of the face that is in one piece is.
    """
    whole = solution.unexplained < MOST_UNEXPLAINED and patches.usual > _ALIKE
    return whole and not solution.miscounted


def is_far_from_sphere(reading: Reading, left_open: float = 0.0) -> bool:
    """Tell whether a form is so large beside power and tilt that lines may be no fringes.

    `left_open` of it may not be there [fringe].
    """
    size = abs(reading.power_fringes or 0.0) + (reading.tilt_fringes or 0.0)
    return (reading.irregularity_fringes or 0.0) - left_open > 0.9 + 0.4 * size


def with_form_warnings(photo: Photo, reading: Reading, *, followed: bool = False) -> Reading:
    """Warn of a form that two polished spheres hardly have.

    Where the fit is `followed`, all over the face or by all that dirt leaves to be seen, no form is
    refused, however large beside power and tilt.

    Raises
    ------
    Refused
        When the form is so far from a sphere that the lines are no contact fringes.
    """
    if not followed and is_far_from_sphere(reading):
        raise Refused(
            f"{photo.name}: the lines do not grow as the gap between two spheres makes them;"
            " photograph contact fringes"
        )
    if not is_of_odd_form(reading):
        return reading
    return reading.warned(
        "irregularity is large beside the power: check that these are contact fringes, and the edge"
    )


def with_plate_warning(
    reading: Reading, diameter_mm: float, plate_radius_mm: float, back: str
) -> Reading:
    """Warn of a plate so steep that a flat back makes the view at the rim oblique.

    `back` is `concentric`, through which the view stays along the normal, `flat`, which is
    counted in the interval, or empty where it is not known. With the contact at the edge power
    reads right (see :func:`lost_through_flat_back`).
    """
    lost = lost_through_flat_back(diameter_mm / 2, plate_radius_mm)
    if back == "concentric" or reading.sense == "edge" or lost <= _STEEP:
        return reading
    low = f"read {figures(100 * lost, 2)} % low at an index of {USUAL_INDEX:g}"
    if back == "flat":
        text = f"a steep plate with a flat back: power may {low}; its interval includes that"
    elif lost < 1:
        text = (
            "a steep plate: through a flat back the view at the rim is oblique and power would"
            f" {low}; a plate whose back is concentric, or a view through the work, does not"
        )
    else:
        text = (
            "a steep plate: through a flat back no fringes are seen at the rim; a plate whose"
            " back is concentric, or a view through the work, shows them"
        )
    return reading.warned(text)
