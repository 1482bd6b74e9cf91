"""How a system uses a surface: what a height on it does to the wavefront and to the focus."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fringe.errors import BadInput

NM_PER_MM = 1e6
QUARTER_WAVE = 0.25  # Rayleigh's limit, waves of the wavefront peak to valley


@dataclass(frozen=True)
class Use:
    """How a system uses a surface.

    Attributes
    ----------
    incidence_deg : float
        Angle of incidence [degree].
    footprint_mm : float or None
        Length of the beam's footprint on the surface, in the plane of incidence [mm].
    beam_mm : float or None
        Diameter of the round beam before it meets the surface [mm]: its footprint is longer,
        by 1 / cos i. None with no footprint either: the beam fills the whole aperture.
    index_before, index_after : float or None
        Refractive indices on the two sides; `index_after` None for a mirror.
    passes : int
        How often the light meets the surface.
    wavelength_nm : float or None
        Wavelength that the system works in [nm]; None: that of the aperture.
    f_number : float or None
        Focal ratio of the beam at the focus.
    """

    incidence_deg: float = 0.0
    footprint_mm: float | None = None
    beam_mm: float | None = None
    index_before: float = 1.0
    index_after: float | None = None
    passes: int = 1
    wavelength_nm: float | None = None
    f_number: float | None = None

    def __post_init__(self) -> None:
        """Refuse a use that no system makes of a surface."""
        if not 0 <= self.incidence_deg < 90:
            raise BadInput(f"angle of incidence {self.incidence_deg:g} is not 0 to 90 degrees")
        if self.passes < 1:
            raise BadInput("light that meets a surface meets it at least once")
        if self.footprint_mm is not None and self.beam_mm is not None:
            raise BadInput("give the footprint on the surface or the beam's diameter, not both")
        for what in (
            "footprint_mm",
            "beam_mm",
            "index_before",
            "index_after",
            "wavelength_nm",
            "f_number",
        ):
            value = getattr(self, what)
            if value is not None and not 0 < value < math.inf:
                raise BadInput(f"{what} must be greater than zero, not {value:g}")
        if self.path_per_height == 0:
            raise BadInput("a surface between equal indices does nothing to the light")

    @property
    def path_per_height(self) -> float:
        """Optical path for a height of the surface, one pass: 2 n cos i, or n' cos i' - n cos i.

        Signed so that a raised mirror and a raised refracting surface can be added: positive
        where the height shortens the path.
        """
        angle = math.radians(self.incidence_deg)
        before = self.index_before * math.cos(angle)
        if self.index_after is None:
            return 2 * before
        sine = self.index_before * math.sin(angle) / self.index_after
        if sine >= 1:
            raise BadInput(f"light at {self.incidence_deg:g} degrees is totally reflected there")
        return before - self.index_after * math.sqrt(1 - sine**2)

    @property
    def footprint_length_mm(self) -> float | None:
        """Length of the footprint in the plane of incidence [mm]; None: the whole aperture."""
        if self.beam_mm is None:
            return self.footprint_mm
        return self.beam_mm / math.cos(math.radians(self.incidence_deg))

    @property
    def astigmatic_share(self) -> float:
        """Share of the wavefront of an oblique beam that is astigmatism: 1 - cos^2 i.

        Power h rho^2 of the surface, seen along a round beam, is h / cos^2 i along the plane of
        incidence and h across it (geometry of the footprint): the longer meridian has the whole
        wavefront, the other cos^2 i of it.
        """
        return math.sin(math.radians(self.incidence_deg)) ** 2

    def wavefront_per_height(self, diameter_mm: float) -> float:
        """Wavefront over the footprint for a unit of power height over the aperture, all passes.

        Power grows with the square of the diameter, so a footprint of length d sees (d/D)^2 of
        it: that of the meridian in the plane of incidence, which has the most.
        """
        length = self.footprint_length_mm
        part = 1.0 if length is None else (length / diameter_mm) ** 2
        return self.path_per_height * self.passes * part


def defocus_from_focus_shift_nm(shift_mm: float, f_number: float) -> float:
    """Wavefront, peak to valley, of a focus that is off by `shift_mm`: shift / (8 F^2) [nm]."""
    return shift_mm * NM_PER_MM / (8 * f_number**2)
