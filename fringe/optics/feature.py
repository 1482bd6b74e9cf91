"""One named feature of a surface's form, and its wording."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from fringe.format import figures, plus_minus

_BROAD = 0.35  # width from which a zone is called broad, a share of the radius
NAMES = {
    ("zone", 1): "raised zone",
    ("zone", -1): "hollow zone",
    ("zone", 0): "raised or hollow zone",
    ("edge", 1): "edge turned up",
    ("edge", -1): "edge turned down",
    ("edge", 0): "edge turned up or down",
    ("centre", 1): "raised centre",
    ("centre", -1): "hole in the centre",
    ("centre", 0): "raised or hollow centre",
}


@dataclass(frozen=True)
class FormFeature:
    """A zone, turned edge, centre or astigmatism of the work, proven by a fitted form.

    Attributes
    ----------
    kind : {'zone', 'edge', 'centre', 'astigmatism'}
    height_fringes, height_u95_fringes : float
        Height of the work there over the sphere through the rest, less than zero where it is low,
        and the half-width of its 95 % interval; of a turned edge at the rim. Of astigmatism its
        peak to valley [fringe].
    wavelength_nm : float
        Wavelength that fringes are counted in [nm].
    signed : bool
        Whether it is known which side is up; else the heights, as if the contact were at the
        centre, may all have the other sign.
    place, place_u95 : float or None
        Share of the radius, and the half-width of its 95 % interval: the crest of a zone, where
        a turned edge begins, how far a hole or raised centre reaches at half its height.
    width : float or None
        Full width at half height of a zone, or width of a turned edge; share of the radius.
    axis_deg, axis_u95_deg : float or None
        Direction along which an astigmatic work is high at the rim, from +x toward +y in the
        photograph, 0 to 180, and the half-width of its 95 % interval [degree].
    """

    kind: str
    height_fringes: float
    height_u95_fringes: float
    wavelength_nm: float
    signed: bool
    place: float | None = None
    place_u95: float | None = None
    width: float | None = None
    axis_deg: float | None = None
    axis_u95_deg: float | None = None

    @property
    def nm(self) -> float:
        """Height of one of its fringes [nm]."""
        return self.wavelength_nm / 2

    @property
    def side(self) -> int:
        """1 where it is raised, -1 where it is low, 0 where that is not known or not asked."""
        if self.kind == "astigmatism" or not self.signed:
            return 0
        return 1 if self.height_fringes > 0 else -1

    @property
    def name(self) -> str:
        """What an optician calls it."""
        return NAMES.get((self.kind, self.side), "astigmatism")

    def of_sense(self, sense: str) -> FormFeature:
        """The same with its sign, where something else told where the contact is; or without.

        Parameters
        ----------
        sense : {'centre', 'edge', 'unknown'}
            Unknown, too, where readings of one visit contradict each other.
        """
        if sense not in ("centre", "edge"):
            return dataclasses.replace(self, signed=False)
        if self.signed:
            return self
        if sense == "centre":
            return dataclasses.replace(self, signed=True)
        if self.axis_deg is not None:
            return dataclasses.replace(self, signed=True, axis_deg=(self.axis_deg + 90) % 180)
        return dataclasses.replace(self, signed=True, height_fringes=-self.height_fringes)

    def at_wavelength(self, wavelength_nm: float) -> FormFeature:
        """The same height counted in fringes of another light."""
        factor = self.wavelength_nm / wavelength_nm
        return dataclasses.replace(
            self,
            height_fringes=self.height_fringes * factor,
            height_u95_fringes=self.height_u95_fringes * factor,
            wavelength_nm=wavelength_nm,
        )

    def where(self) -> str:
        """Its place or axis in words."""
        if self.axis_deg is not None:
            angle = f"{self.axis_deg:.0f}°"
            return f"high along {angle}" if self.signed else f"along {angle} or across it"
        place = figures(self.place or 0.0, 2)
        if self.kind == "edge":
            return f"from {place} of the radius"
        if self.kind == "centre":
            return f"out to {place} of the radius"
        broad = ", broad" if (self.width or 0.0) >= _BROAD else ""
        return f"at {place} of the radius{broad}"

    def size(self) -> str:
        """Its height in fringes and nanometres, without a sign: the name has it."""
        height, u95 = abs(self.height_fringes), self.height_u95_fringes
        counted = plus_minus(height, u95, "fringes")
        return f"{counted} ({plus_minus(height * self.nm, u95 * self.nm, 'nm')})"

    def text(self) -> str:
        """All of it in one line, as `raised zone at 0.62 of the radius, 0.31 ± 0.04 fringes`."""
        return f"{self.name} {self.where()}, {self.size()}"

    def to_json(self) -> dict[str, object]:
        """Return the fields under their own names, and what follows from them."""
        height = self.height_fringes if self.signed else abs(self.height_fringes)
        return {
            **dataclasses.asdict(self),
            "height_fringes": height,
            "height_nm": height * self.nm,
            "height_u95_nm": self.height_u95_fringes * self.nm,
            "name": self.name,
            "text": self.text(),
        }
