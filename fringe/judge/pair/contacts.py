"""What a pair is judged by: its pieces, contacts between them, and spherometer readings."""

from __future__ import annotations

from dataclasses import dataclass

from fringe.optics.spherometer import (
    Spherometer,
)
from fringe.quantity import Source


@dataclass(frozen=True)
class Piece:
    """A piece of glass with a radius: one of the pair, or a plate.

    Attributes
    ----------
    name : str
        Its name.
    form : {'convex', 'concave'}
        Its form.
    radius_mm : float
        Nominal radius [mm].
    diameter_mm : float or None
        Diameter of its aperture [mm].
    certified_mm, u_certified_mm : float or None
        Certified radius and its standard uncertainty [mm].
    """

    name: str
    form: str
    radius_mm: float
    diameter_mm: float | None = None
    certified_mm: float | None = None
    u_certified_mm: float | None = None


@dataclass(frozen=True)
class Contact:
    """Power read between a work and the piece that it was laid on.

    Attributes
    ----------
    label : str
        What and when, for the person.
    work, other : str
        Names of the two pieces.
    power_fringes, u_fringes : float
        Signed power over the aperture, and its own standard uncertainty [fringe].
    diameter_mm : float
        Diameter of that aperture [mm].
    wavelength_nm, u_wavelength_nm : float
        Wavelength in air and its standard uncertainty [nm].
    lamp : str
        Contacts in one lamp share its error of wavelength.
    shared : tuple of (Source, float)
        Errors beside `u_fringes` that other contacts may have as well, as the form of a plate:
        what each contributes to the power [fringe].
    visit : int or None
        Number of the work's visit at which it was read.
    """

    label: str
    work: str
    other: str
    power_fringes: float
    u_fringes: float
    diameter_mm: float
    wavelength_nm: float
    u_wavelength_nm: float = 0.0
    lamp: str = ""
    shared: tuple[tuple[Source, float], ...] = ()
    visit: int | None = None


@dataclass(frozen=True)
class Sagittas:
    """Spherometer readings of a work and its plate, at one visit.

    Attributes
    ----------
    label : str
        What and when, for the person.
    work, plate : str
        Names of the two pieces.
    work_um, plate_um : float
        Sagittas read, from the zero [um].
    u_work_um, u_plate_um : float
        Their standard uncertainties, without the zero's [um].
    u_zero_um : float
        Standard uncertainty of the zero, which both share [um].
    ways : (float, float)
        Which way an error of the zero moves the work's and the plate's sagitta.
    spherometer : Spherometer or None
        None: points on a circle of unknown size.
    instrument : str
        Readings by one instrument share its sizes.
    """

    label: str
    work: str
    plate: str
    work_um: float
    plate_um: float
    u_work_um: float
    u_plate_um: float
    u_zero_um: float = 0.0
    ways: tuple[float, float] = (1.0, 1.0)
    spherometer: Spherometer | None = None
    instrument: str = ""
