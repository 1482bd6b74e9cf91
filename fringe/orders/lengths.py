"""From a power in fringes to a difference of radii, with what each source contributes."""

from __future__ import annotations

from dataclasses import dataclass

from fringe.optics.spheres import radius_difference_mm
from fringe.quantity import Quantity, Source, evaluate


@dataclass(frozen=True)
class Lengths:
    """What turns a power into a radius difference.

    Attributes
    ----------
    plate_radius, diameter : Quantity
        Radius of the plate and diameter of the aperture [mm].
    wavelength : Quantity
        Mean wavelength of the lamp in air [nm].
    work : {'convex', 'concave'}
        Form of the work.
    """

    plate_radius: Quantity
    diameter: Quantity
    wavelength: Quantity
    work: str


def wavelength_of(wavelength_nm: float, u_nm: float, lamp: str) -> Quantity:
    """Wavelength of a lamp, whose error all readings in its light share [nm]."""
    return Quantity.of(wavelength_nm, "nm", {Source("wavelength", lamp): u_nm})


def radius_difference(power: Quantity, lengths: Lengths) -> Quantity:
    """R_work - R_plate of a power that is counted in the lamp's own fringes [mm].

    Exact in value. The slopes are those of the contact at hand, at the centre for a power
    above zero and at the edge below: they differ by 1 / cos t at the slope angle t of the rim.
    """

    def exact(fringes: float, radius: float, diameter: float, wavelength: float) -> float:
        return radius_difference_mm(fringes, radius, diameter, wavelength, lengths.work)

    arguments = (power, lengths.plate_radius, lengths.diameter, lengths.wavelength)
    return evaluate(exact, arguments, "mm")


def at_stated_wavelength(power: Quantity, wavelength: Quantity) -> Quantity:
    """Power as the height that its fringes stand for at the stated wavelength [fringe].

    Fringes are counted without an error of the wavelength; what they are in length, or in
    fringes of another light, has it.
    """
    made = power
    for source, u_nm in wavelength.parts:
        made = made.added(source, power.value * u_nm / wavelength.value)
    return made
