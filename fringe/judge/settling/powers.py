"""What a settling needs of readings: powers of one sign, and what each errs by alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fringe.errors import BadInput
from fringe.orders.lengths import at_stated_wavelength
from fringe.orders.reading import Reading

# No two photographs of one contact repeat better than this [fringe] (ours, no source)
LEAST_U_FRINGES = 0.003
# Sources of a power's uncertainty that err anew in each reading; of those the ones that may as
# well err in all alike
_OWN, _COMMON = frozenset({"fit", "eye", "eye angle"}), frozenset({"eye angle"})


@dataclass(frozen=True)
class SettlingPower:
    """Powers that were read while a piece settles.

    Attributes
    ----------
    powers_fringes : tuple of float
        One sign for all; magnitudes where no reading tells the sense [fringe].
    u_fringes : tuple of float
        Standard uncertainty of what differs from reading to reading [fringe].
    common_u_fringes : float
        Standard uncertainty of what all of them share: edge, view [fringe].
    sense : {'centre', 'edge', 'unknown'}
        Where the contact is.
    wavelength_nm : float
        That the fringes are counted in [nm].
    """

    powers_fringes: tuple[float, ...]
    u_fringes: tuple[float, ...]
    common_u_fringes: float
    sense: str
    wavelength_nm: float


def settling_powers(readings: Sequence[Reading]) -> SettlingPower:
    """Take from readings of one piece what its settling needs.

    The fit of the fringes errs anew in each photograph; edge and view err in all alike, and
    cancel in the drift. By eye the count errs anew; whether the eye looks from one place each
    time is not known, so its angle counts as both.

    Raises
    ------
    BadInput
        If a reading has no power, their lamps differ, or their senses contradict each other.
    """
    if any(one.power_fringes is None for one in readings):
        raise BadInput("settling: a reading without a power tells nothing of it")
    waves = {round(one.wavelength_nm, 4) for one in readings}
    if len(waves) > 1:
        raise BadInput("settling: the readings are of different lamps; take those of one")
    senses = {one.sense for one in readings} - {"unknown"}
    if len(senses) > 1 and any(one.sense == "unknown" for one in readings):
        raise BadInput("settling: the contact is at the centre in one and at the edge in another")
    powers = [float(one.power_fringes or 0.0) for one in readings]
    sense = "unknown" if not senses else senses.pop() if len(senses) == 1 else "both"
    if sense != "both":
        sign = -1.0 if sense == "edge" else 1.0
        powers = [sign * abs(one) for one in powers]
    else:
        sense = "centre" if powers[-1] >= 0 else "edge"
    parts = [_u_parts(one) for one in readings]
    return SettlingPower(
        tuple(powers),
        tuple(max(fit, LEAST_U_FRINGES) for fit, _ in parts),
        sum(other for _, other in parts) / len(parts),
        sense,
        waves.pop(),
    )


def _u_parts(one: Reading) -> tuple[float, float]:
    """Standard uncertainty of a reading: what errs anew in each, and in all alike [fringe].

    Where the sources of the uncertainty were not recorded, all of it counts as the reading's own.
    """
    if one.power is None:
        raise BadInput("settling: a reading has no uncertainty")
    power = at_stated_wavelength(one.power, one.wavelength)
    kinds = {source.what for source, _ in power.parts}
    own = kinds & _OWN or kinds - {"wavelength"}
    return power.u_of(*own), power.without(*(own - _COMMON)).u
